"""Tidy tables written row by row, read back by column, and by pandas from the text beside."""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow.parquet as pq
import pytest

from headfit.files import parquet
from headfit.files.parquet import Column, distinct, read_columns, read_frame, write_table

COLUMNS = (
    Column("site", "Name of the site", "text"),
    Column("off", "How far off", unit="mm"),
    Column("told", "Whether it was told", "truth"),
)
ROWS = [
    {"site": "Cz", "off": 1.23456, "told": True},
    {"site": "Fz", "off": None, "told": False},
    {"site": "Cz", "off": 4.5},
    {"off": 6.25, "told": True},
    {"site": "Pz", "off": -0.0004, "told": False},
]


@pytest.fixture
def stem(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr(parquet, "_ROWS_A_GROUP", 2)
    assert write_table(tmp_path / "marks", COLUMNS, ROWS) == 5
    return tmp_path / "marks"


def test_rows_come_back_by_column_with_what_is_missing(stem: Path) -> None:
    path = stem.with_suffix(".parquet")
    assert pq.ParquetFile(path).metadata.num_row_groups == 3
    found = read_columns(path, ["told", "site", "off"])
    assert found["site"].tolist() == ["Cz", "Fz", "Cz", "", "Pz"]
    assert found["told"].tolist() == [True, False, False, True, False]
    # Single precision.
    np.testing.assert_allclose(found["off"], [1.23456, np.nan, 4.5, 6.25, -0.0004], rtol=1e-6)
    assert read_frame(path)["site"].isna().sum() == 1


def test_only_the_rows_of_a_value_are_read(stem: Path) -> None:
    path = stem.with_suffix(".parquet")
    found = read_columns(path, ["off"], where={"site": "Cz"})
    np.testing.assert_allclose(found["off"], [1.23456, 4.5], rtol=1e-6)
    both = read_columns(path, ["off"], where={"site": "Cz", "told": True})
    np.testing.assert_allclose(both["off"], [1.23456], rtol=1e-6)
    assert distinct(path, "site") == ["Cz", "Fz", "Pz"]


def test_the_text_beside_says_the_same_to_the_thousandth(stem: Path) -> None:
    """BIDS 1.11: tab-separated, n/a where a value is missing, a dictionary beside."""
    text = pd.read_csv(stem.with_suffix(".tsv"), sep="\t", keep_default_na=False)
    assert list(text.columns) == ["site", "off", "told"]
    assert text["site"].tolist() == ["Cz", "Fz", "Cz", "n/a", "Pz"]
    assert text["told"].tolist() == ["true", "false", "n/a", "true", "false"]
    assert text["off"].tolist()[:4] == ["1.235", "n/a", "4.500", "6.250"]
    told = json.loads(stem.with_suffix(".json").read_text())
    assert told["off"] == {"Description": "How far off", "Units": "mm"}
    assert told["site"] == {"Description": "Name of the site"}
