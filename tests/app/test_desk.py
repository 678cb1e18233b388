"""The case on the desk: nothing is lost, nothing is overwritten silently."""

import os
from dataclasses import replace
from pathlib import Path

import pytest
from demo_case import TEXT

from headfit.app.changes import changed_case
from headfit.app.desk import UNSAVED, ConflictError, Desk
from headfit.errors import FileFormatError, InputError
from headfit.files.case_file import read_case


@pytest.fixture
def path(tmp_path: Path) -> Path:
    case = tmp_path / "case.toml"
    case.write_text(TEXT, encoding="utf-8")
    return case


def names_in(folder: Path) -> list[str]:
    return sorted(entry.name for entry in folder.iterdir())


def change(desk: Desk, **entries: object) -> None:
    desk.put(changed_case(desk.case, entries, desk.path.parent))


def slide(desk: Desk, ring: str) -> None:
    """One value of many, as a slider or a typing hand sends them."""
    case = changed_case(desk.case, {"tape": {"ring": ring}}, desk.path.parent)
    desk.put(case, open_step="ring")


def test_a_change_is_safe_at_once_and_the_case_file_waits_for_saving(path: Path) -> None:
    desk = Desk.open(path)
    assert desk.saved
    change(desk, tape={"ring": "57.7"})
    assert not desk.saved
    assert path.read_text(encoding="utf-8") == TEXT
    again = Desk.open(path)  # as after a kill: nothing was told to the first desk
    assert again.case.tape.ring_mm == 577.0
    assert not again.saved
    assert "brought back from case.toml.unsaved" in again.found


def test_saving_moves_the_change_into_the_case_file(path: Path) -> None:
    desk = Desk.open(path)
    change(desk, tape={"ring": "57.7"})
    desk.save()
    assert read_case(path).tape.ring_mm == 577.0
    assert names_in(path.parent) == ["case.toml"]
    assert Desk.open(path).saved


def test_a_revision_is_used_once(path: Path) -> None:
    desk = Desk.open(path)
    first = desk.revision
    change(desk, label="mine")
    with pytest.raises(ConflictError, match="changed in another window"):
        desk.check(first)
    desk.check(desk.revision)
    for wrong in (None, "1", True, 1.0):
        with pytest.raises(InputError, match="revision must be the whole number"):
            desk.check(wrong)


def test_a_case_file_changed_by_another_program_is_not_overwritten(path: Path) -> None:
    desk = Desk.open(path)
    change(desk, label="mine")
    path.write_text(TEXT.replace("Demo", "Theirs"), encoding="utf-8")
    with pytest.raises(ConflictError, match=r"case\.toml was changed by another program"):
        desk.save()
    assert "Theirs" in path.read_text(encoding="utf-8")
    assert Desk.open(path).case.label == "mine"  # still kept


def test_saving_under_another_name_spares_what_is_there(path: Path) -> None:
    desk = Desk.open(path)
    (path.parent / "other.toml").write_text(TEXT, encoding="utf-8")
    with pytest.raises(ConflictError, match="there is a file other"):
        desk.save("other.toml")
    desk.save("third.toml")
    assert desk.path.name == "third.toml"
    assert sorted(desk.cases()) == ["case.toml", "other.toml", "third.toml"]


@pytest.mark.parametrize(
    "name",
    ["../x.toml", "/etc/x.toml", "x.txt", "", ".", "a\\b.toml", "a\0.toml", "x" * 200 + ".toml"],
)
def test_only_plain_names_in_the_same_folder_are_opened_and_written(path: Path, name: str) -> None:
    desk = Desk.open(path)
    with pytest.raises(InputError, match="plain file name that ends in"):
        desk.save(name)
    with pytest.raises(InputError, match="plain file name that ends in"):
        desk.opened(name)


def test_a_half_readable_copy_is_left_alone_and_told(path: Path) -> None:
    copy = path.with_name(path.name + UNSAVED)
    copy.write_text("[tape", encoding="utf-8")
    desk = Desk.open(path)
    assert desk.saved
    assert "cannot be read" in desk.found
    assert copy.read_text(encoding="utf-8") == "[tape"


def test_discarding_goes_back_to_the_case_file(path: Path) -> None:
    desk = Desk.open(path)
    label = desk.case.label
    change(desk, label="mine")
    desk.discard()
    assert desk.case.label == label
    assert desk.saved
    assert not desk.unsaved_path.exists()


def test_a_new_case_needs_a_measurement_to_be_saved(tmp_path: Path) -> None:
    desk = Desk(tmp_path / "x.toml").began()
    assert desk.path.name == "new-case.toml"
    with pytest.raises(InputError, match="at least one measurement to be saved"):
        desk.save()
    change(desk, tape={"ring": "56"})
    assert names_in(tmp_path) == ["new-case.toml.unsaved"]
    assert desk.cases() == ["new-case.toml"]
    other = desk.began()
    assert other.path.name == "new-case-2.toml"
    assert other.revision > desk.revision
    back = other.opened("new-case.toml")
    assert back.case.tape.ring_mm == 560.0
    assert back.revision > other.revision


def test_a_missing_case_begins_a_new_one_but_a_broken_one_is_refused(tmp_path: Path) -> None:
    assert Desk.open(tmp_path / "none.toml").saved
    broken = tmp_path / "broken.toml"
    broken.write_text("[case", encoding="utf-8")
    with pytest.raises(FileFormatError, match=r"broken\.toml: a case file must be TOML"):
        Desk.open(broken)


def test_what_cannot_be_written_is_not_taken(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    desk = Desk.open(path)
    before, revision = desk.case, desk.revision

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(InputError, match="no space left on device"):
        desk.put(replace(before, label="mine"))
    assert desk.case is before
    assert desk.revision == revision


def test_every_change_is_taken_back_and_made_again(path: Path) -> None:
    desk = Desk.open(path)
    steps: list[dict[str, object]] = [
        {"label": "mine"},
        {"age": "3 weeks"},
        {"tape": {"ring": "55.5"}},
        {"free": [{"site": "C3", "radius_mm": 10}]},
        {"move_alone": True},
        {"old_names": False},
        {"derivations": "transverse"},
        {"doubtful": ["nasion"]},
        {"rules": {"inner": "crossing"}},
    ]
    cases = [desk.case]
    for step in steps:
        change(desk, **step)
        cases.append(desk.case)
    texts = [desk._text(case) for case in cases]
    assert len(set(texts)) == len(texts)  # each step did something
    for text in reversed(texts[:-1]):
        desk.undo()
        assert desk._text(desk.case) == text
    with pytest.raises(InputError, match="undo must have a step to go, got none"):
        desk.undo()
    assert desk.saved  # as the case file has it
    assert names_in(path.parent) == ["case.toml"]
    for text in texts[1:]:
        desk.redo()
        assert desk._text(desk.case) == text
    with pytest.raises(InputError, match="redo must have a step to go"):
        desk.redo()


def test_a_slider_is_one_step_and_words_name_it(path: Path) -> None:
    desk = Desk.open(path)
    before = desk.case
    for ring in ("56.0", "56.1", "56.2"):
        slide(desk, ring)
    assert desk.history.words(desk.case) == {"undo": "10 % ring", "redo": ""}
    desk.undo()
    assert desk.case is before
    assert desk.history.words(desk.case) == {"undo": "", "redo": "10 % ring"}
    change(desk, note="other")  # what was taken back is gone with a new change
    with pytest.raises(InputError, match="redo must have a step to go"):
        desk.redo()


def test_a_step_under_way_goes_back_to_where_it_began(path: Path) -> None:
    desk = Desk.open(path)
    before = desk.case
    slide(desk, "56.0")
    slide(desk, "56.1")
    assert not desk.go_back("head_breadth")
    assert desk.go_back("ring")
    assert desk.case is before
    assert not desk.go_back("ring")
    slide(desk, "56.0")
    desk.history.close()
    assert not desk.go_back("ring")  # it was finished: that stays


def test_discarding_can_be_taken_back(path: Path) -> None:
    desk = Desk.open(path)
    change(desk, label="mine")
    desk.discard()
    desk.undo()
    assert desk.case.label == "mine"
