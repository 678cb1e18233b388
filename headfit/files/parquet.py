"""Tables as Parquet and as tab-separated text side by side, written row by row, read by column.

The same rows in both; the text is rounded to the thousandth, Parquet holds single precision. A file
appears whole or not at all. The only module that knows pyarrow (optional extra `study`).
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO, Literal

import numpy as np
from numpy.typing import NDArray

from headfit.errors import missing_library
from headfit.files.tables import MISSING, cell
from headfit.files.whole import write_whole, writing_whole

Value = str | float | bool | None
Kind = Literal["text", "number", "truth"]
_ROWS_A_GROUP = 16_384
_DECIMALS = 3


@dataclass(frozen=True)
class Column:
    """A column of a tidy table, as the data dictionary tells of it."""

    name: str
    description: str
    kind: Kind = "number"
    unit: str = ""

    def as_text(self, value: Value) -> str:
        """One cell of the tab-separated text."""
        if self.kind == "truth":
            return MISSING if value is None else str(bool(value)).lower()
        return cell(value, _DECIMALS)


class TableWriter:
    """Takes the rows of one table."""

    def __init__(
        self, columns: Sequence[Column], text: BinaryIO, parquet: Any, schema: Any
    ) -> None:
        self._columns, self._text, self._parquet, self._schema = columns, text, parquet, schema
        self._rows: list[tuple[Value, ...]] = []
        self.n_rows = 0

    def add(self, row: Mapping[str, Value]) -> None:
        """Add a row; a column it does not name is missing."""
        values = tuple(row.get(column.name) for column in self._columns)
        cells = (c.as_text(value) for c, value in zip(self._columns, values, strict=True))
        self._text.write(("\t".join(cells) + "\n").encode())
        self._rows.append(values)
        self.n_rows += 1
        if len(self._rows) == _ROWS_A_GROUP:
            self.flush()

    def flush(self) -> None:
        """Write what has been gathered as one group of rows."""
        import pyarrow as pa

        parts = list(zip(*self._rows, strict=True)) or [()] * len(self._columns)
        arrays = [
            pa.array(part, field.type) for part, field in zip(parts, self._schema, strict=True)
        ]
        self._parquet.write_table(pa.Table.from_arrays(arrays, schema=self._schema))
        self._rows = []


def check_installed() -> None:
    """Refuse to begin without what writes the tables.

    Raises
    ------
    InputError
        pyarrow or pandas is not installed.
    """
    import importlib.util

    for library in ("pyarrow", "pandas"):
        if importlib.util.find_spec(library) is None:
            raise missing_library(library, "write the tables of a study", extra="study")


@contextmanager
def table_writer(stem: str | Path, columns: Sequence[Column]) -> Iterator[TableWriter]:
    """A writer of ``stem.tsv``, ``stem.parquet`` and ``stem.json``, the data dictionary.

    Raises
    ------
    InputError
        A file cannot be written.
    """
    import pyarrow as pa
    import pyarrow.parquet as pq

    kinds = {"text": pa.string(), "number": pa.float32(), "truth": pa.bool_()}
    schema = pa.schema([(column.name, kinds[column.kind]) for column in columns])
    base = Path(stem)
    write_whole(base.with_suffix(".json"), dictionary(columns))
    with ExitStack() as stack:
        text = stack.enter_context(writing_whole(base.with_suffix(".tsv")))
        raw = stack.enter_context(writing_whole(base.with_suffix(".parquet")))
        # The library writes its version and nothing of the moment: equal rows give equal bytes.
        parquet = stack.enter_context(pq.ParquetWriter(raw, schema, compression="zstd"))
        text.write(("\t".join(column.name for column in columns) + "\n").encode())
        writer = TableWriter(columns, text, parquet, schema)
        yield writer
        writer.flush()


def write_table(
    stem: str | Path, columns: Sequence[Column], rows: Iterable[Mapping[str, Value]]
) -> int:
    """The number of rows, after a whole table was written."""
    with table_writer(stem, columns) as writer:
        for row in rows:
            writer.add(row)
    return writer.n_rows


def dictionary(columns: Iterable[Column]) -> str:
    """The data dictionary of a table, as BIDS has it beside a tabular file."""
    told: dict[str, dict[str, str]] = {}
    for column in columns:
        told[column.name] = {"Description": column.description}
        if column.unit:
            told[column.name]["Units"] = column.unit
    return json.dumps(told, indent=2, ensure_ascii=False) + "\n"


def read_columns(
    path: str | Path, names: Sequence[str], where: Mapping[str, Value] | None = None
) -> dict[str, NDArray[Any]]:
    """Columns of a Parquet file as arrays, of the rows that have certain values.

    Missing numbers are NaN, missing words "".

    Parameters
    ----------
    path : path
    names : sequence of str
    where : mapping of str to value, optional
    """
    import pyarrow as pa
    import pyarrow.parquet as pq

    filters = [(name, "==", value) for name, value in (where or {}).items()] or None
    table = pq.read_table(path, columns=list(names), filters=filters)
    found: dict[str, NDArray[Any]] = {}
    for name in names:
        column = table[name]
        if pa.types.is_string(column.type):
            found[name] = np.array(column.fill_null("").to_pylist(), dtype=object)
        elif pa.types.is_boolean(column.type):
            found[name] = np.asarray(column.fill_null(False).to_numpy(), dtype=bool)
        else:
            found[name] = np.asarray(column.to_numpy(), dtype=np.float64)
    return found


def distinct(path: str | Path, name: str) -> list[str]:
    """The words of a column, each once, sorted."""
    import pyarrow.compute as pc
    import pyarrow.parquet as pq

    found = pc.unique(pq.read_table(path, columns=[name])[name]).to_pylist()
    return sorted(word for word in found if word is not None)


def read_frame(path: str | Path) -> Any:
    """A Parquet file as a `pandas.DataFrame`."""
    import pyarrow.parquet as pq

    return pq.read_table(path).to_pandas()
