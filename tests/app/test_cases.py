"""A new case gets the name of its label; the list of cases tells label, date and picture."""

import os
from pathlib import Path

import pytest
from chair_cases import NEWBORN, PLAIN
from running_app import RunningApp, running

from headfit.app.cases import case_names, free_name, listed_cases, stem_of
from headfit.app.desk import Desk
from headfit.app.server import case_picture
from headfit.files.case_file import case_of_text, read_case


def test_a_new_case_is_of_10_20_and_saved_under_its_label(tmp_path: Path) -> None:
    desk = Desk(tmp_path / "demo.toml").began()
    assert desk.case.array_title == "10-20"
    assert desk.never_saved
    desk.put(case_of_text(PLAIN.replace("invented head", "Morning, 2nd head"), tmp_path))
    desk.save()
    assert desk.path.name == "morning-2nd-head.toml"
    assert not desk.never_saved
    assert read_case(desk.path).label == "Morning, 2nd head"
    desk.put(case_of_text(PLAIN.replace("invented head", "renamed"), tmp_path))
    desk.save()
    assert desk.path.name == "morning-2nd-head.toml"  # a name stays
    other = desk.began()
    other.put(case_of_text(PLAIN.replace("invented head", "morning 2nd head"), tmp_path))
    other.save()
    assert other.path.name == "morning-2nd-head-2.toml"
    assert case_names(tmp_path) == ["morning-2nd-head-2.toml", "morning-2nd-head.toml"]


def test_a_file_that_the_user_named_keeps_its_name(tmp_path: Path) -> None:
    desk = Desk.open(tmp_path / "mine.toml")
    desk.put(case_of_text(PLAIN, tmp_path))
    desk.save()
    assert desk.path.name == "mine.toml"


@pytest.mark.parametrize("label", ["../../etc/passwd", "\x1b[2J", "a" * 500, "-rf", "नमस्ते" * 40])
def test_any_label_gives_a_plain_name(tmp_path: Path, label: str) -> None:
    name = free_name(stem_of(label), [])
    (tmp_path / name).write_text("x", encoding="utf-8")
    assert (tmp_path / name).resolve().parent == tmp_path.resolve()
    assert case_names(tmp_path) == [name]


def test_the_list_tells_label_and_date_newest_first(tmp_path: Path) -> None:
    (tmp_path / "old.toml").write_text(
        PLAIN.replace("[case]", "[case]\nmeasured_on = 2024-05-07"), encoding="utf-8"
    )
    (tmp_path / "new.toml").write_text(NEWBORN, encoding="utf-8")
    os.utime(tmp_path / "new.toml", (1.75e9, 1.75e9))  # June 2025
    (tmp_path / "pyproject.toml").write_text("[tool]\nx = 1", encoding="utf-8")
    (tmp_path / "broken.toml").write_text("[case", encoding="utf-8")
    desk = Desk(tmp_path / "new.toml").began()
    desk.put(case_of_text(PLAIN.replace("invented head", "half done"), tmp_path))
    found = {entry.name: entry for entry in listed_cases(tmp_path)}
    assert list(found) != sorted(found)
    assert set(found) == {"old.toml", "new.toml", "new-case.toml"}
    assert (found["old.toml"].label, found["old.toml"].date) == ("invented head", "2024-05-07")
    assert found["new.toml"].date.startswith("2025-06-1")
    assert (found["new-case.toml"].label, found["new-case.toml"].saved) == ("half done", False)
    dates = [entry.date for entry in listed_cases(tmp_path) if entry.date]
    assert dates == sorted(dates, reverse=True)


def test_a_picture_is_of_the_head_of_that_case() -> None:
    plain, newborn = case_picture(PLAIN), case_picture(NEWBORN)
    assert plain.startswith("<svg")
    assert ">Cz<" in plain
    assert plain != newborn


def test_the_app_lists_and_draws_its_cases_and_reads_nothing_else(tmp_path: Path) -> None:
    path = tmp_path / "case.toml"
    path.write_text(PLAIN, encoding="utf-8")
    (tmp_path / "sly.toml").write_text(
        PLAIN.replace("[tape]", '[marks]\nfile = "/etc/passwd"\n[tape]'), encoding="utf-8"
    )
    with running(path) as app:
        names = [entry["name"] for entry in app.get("cases")["cases"]]
        assert sorted(names) == ["case.toml", "sly.toml"]
        assert ">Cz<" in app.get("picture?name=sly.toml")["svg"]
        refused(app, "picture?name=../case.toml")
        refused(app, "picture?name=other.toml")


def refused(app: RunningApp, path: str) -> None:
    status, body, _ = app.ask("GET", f"/api/{path}")
    assert status == 422
    assert b"unknown case of this folder" in body
