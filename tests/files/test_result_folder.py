"""A result folder is of one run: whoever is stopped, whatever was there, two writers at once."""

import os
import re
import subprocess
import sys
import threading
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import pytest
from stopped import Killed, full_from, killed_at

from headfit import __version__
from headfit.errors import FileFormatError, HeadfitError, InputError
from headfit.files import result_folder
from headfit.files.lock import FileLock
from headfit.files.manifest import MANIFEST, UNFINISHED_RUN, is_inside, read_manifest
from headfit.files.result_folder import ResultFolder, write_folder
from headfit.files.whole import read_text

EARLIER = {"case.json": "A", "head.ply": "A", "bids/x.tsv": "A", "report.html": "A", "old/y": "A"}
NEW = {"case.json": "B", "head.ply": "B", "bids/x.tsv": "B", "bids/z.tsv": "B"}


@pytest.fixture(autouse=True)
def _no_waiting_for_the_disk(monkeypatch: pytest.MonkeyPatch) -> None:
    """A flush is still a step at which one can be killed, but the disk is not waited for."""
    monkeypatch.setattr(os, "fsync", lambda _descriptor: None)


def files_in(folder: Path) -> dict[str, str]:
    return {
        path.relative_to(folder).as_posix(): path.read_text(encoding="utf-8")
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path.name != MANIFEST
    }


def write(folder: Path, contents: dict[str, str], run: str = "fit") -> ResultFolder:
    return write_folder(folder, contents, run=run, handed_over=["case.toml"])


def read_by_headfit(folder: Path) -> set[str]:
    """The runs of which our readers take a file of this folder."""
    found = set()
    for name in {**EARLIER, **NEW}:
        with suppress(HeadfitError):
            found.add(read_text(folder / name))
    return found


def folder_with(tmp_path: Path, contents: dict[str, str], name: str = "out") -> Path:
    folder = tmp_path / name
    write(folder, contents)
    (folder / "notes.txt").write_text("mine")
    (folder / "bids" / "mine.tsv").write_text("mine")
    return folder


MINE = {"notes.txt": "mine", "bids/mine.tsv": "mine"}


def test_a_new_run_renews_its_files_and_removes_those_it_does_not_write(tmp_path: Path) -> None:
    folder = folder_with(tmp_path, EARLIER)
    done = write(folder, NEW)
    assert files_in(folder) == NEW | MINE
    assert done.removed == ("old/y", "report.html")
    assert done.kept == ()
    assert not (folder / "old").exists()
    assert "it was of the run before: old/y, report.html" in done.sentences[0]
    assert read_by_headfit(folder) == {"B"}


def test_what_a_person_changed_is_kept_and_named(tmp_path: Path) -> None:
    folder = folder_with(tmp_path, EARLIER)
    (folder / "report.html").write_text("with my remarks")
    done = write(folder, NEW)
    assert (folder / "report.html").read_text() == "with my remarks"
    assert done.kept == ("report.html",)
    assert done.removed == ("old/y",)
    assert done.sentences[1].endswith("it does not belong to this one: report.html.")
    assert write(folder, NEW).kept == ()  # from now on it is nobody's run


def test_a_file_that_is_handed_over_is_the_persons_own(tmp_path: Path) -> None:
    folder = tmp_path / "out"
    write(folder, NEW | {"case.toml": "first"})
    assert write(folder, NEW | {"case.toml": "second"}).kept == ()
    assert (folder / "case.toml").read_text() == "second"
    (folder / "case.toml").write_text("mine")
    assert read_text(folder / "case.toml") == "mine"  # it may be changed and read
    assert write(folder, NEW | {"case.toml": "third"}).kept == ("case.toml",)
    assert write(folder, NEW).removed == ()
    assert (folder / "case.toml").read_text() == "mine"


def test_a_folder_holds_runs_of_one_kind(tmp_path: Path) -> None:
    folder = folder_with(tmp_path, EARLIER)
    with pytest.raises(InputError, match="be a new one, or one that headfit compare wrote, got"):
        write(folder, NEW, "compare")
    assert files_in(folder) == EARLIER | MINE


def test_what_a_run_was_made_from_is_not_removed_by_it(tmp_path: Path) -> None:
    folder = folder_with(tmp_path, EARLIER)
    (tmp_path / "link").symlink_to(folder)
    for given in (folder / "report.html", tmp_path / "link" / "report.html"):
        with pytest.raises(InputError, match=r"the one of report\.html, which the new run"):
            write_folder(folder, NEW, run="fit", inputs=[given])
    assert files_in(folder) == EARLIER | MINE
    assert write_folder(folder, NEW, run="fit", inputs=[folder / "case.json"]).kept == ()


def test_the_folder_in_which_one_stands_is_written_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(folder_with(tmp_path, EARLIER))
    for given in (".", "", tmp_path / "out" / ".." / "out"):
        write(Path(given), EARLIER)
        write(Path(given), NEW)
        assert files_in(tmp_path / "out") == NEW | MINE


def test_links_keep_pointing_where_they_did(tmp_path: Path) -> None:
    folder = folder_with(tmp_path, EARLIER)
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "elsewhere" / "x.tsv").write_text("A")
    (folder / "bids" / "x.tsv").unlink()
    (folder / "bids" / "mine.tsv").unlink()
    (folder / "bids").rmdir()
    (folder / "bids").symlink_to(tmp_path / "elsewhere")
    write(folder, NEW)
    assert (folder / "bids").is_symlink()
    assert files_in(tmp_path / "elsewhere") == {"x.tsv": "B", "z.tsv": "B"}
    assert write(folder, {"case.json": "C"}).removed == ("head.ply",)
    assert files_in(tmp_path / "elsewhere") == {"x.tsv": "B", "z.tsv": "B"}


def test_a_subfolder_that_is_another_drive_is_written_by_copying(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = folder_with(tmp_path, EARLIER)
    real = os.replace

    def across(source: Path, target: Path) -> None:
        if UNFINISHED_RUN in str(source) and "bids" in str(target):
            raise OSError(18, "Invalid cross-device link")
        real(source, target)

    monkeypatch.setattr(os, "replace", across)
    write(folder, NEW)
    assert files_in(folder) == NEW | MINE


def steps_of(work: Callable[[], object]) -> int:
    """How many steps a piece of work takes."""
    for step in range(1, 10_000):
        try:
            with killed_at(step):
                work()
        except Killed:
            continue
        return step - 1
    raise AssertionError


@pytest.mark.parametrize("after", [False, True], ids=["before the step", "after the step"])
@pytest.mark.parametrize("there", ["nothing", "files of nobody", "an earlier run"])
def test_killed_at_any_step_a_folder_is_never_read_as_of_two_runs(
    tmp_path: Path, there: str, after: bool
) -> None:
    def prepared(name: str) -> Path:
        folder = tmp_path / name
        if there == "an earlier run":
            return folder_with(tmp_path, EARLIER, name)
        if there == "files of nobody":
            (folder / "bids").mkdir(parents=True)
            for path, text in MINE.items():
                (folder / path).write_text(text)
        return folder

    counted = prepared("count")
    n_steps = steps_of(lambda: write(counted, NEW))
    assert n_steps > 20
    mine = {} if there == "nothing" else MINE
    seen: set[str] = set()
    for step in range(1, n_steps + 1):
        folder = prepared(f"out-{step}")
        with suppress(Killed), killed_at(step, after):
            write(folder, NEW)
        taken = read_by_headfit(folder)
        assert len(taken) <= 1, (step, taken)
        if there == "an earlier run" and not taken:
            seen.add("refused")
            with pytest.raises(FileFormatError, match="in which a run was stopped half-way"):
                read_text(folder / "head.ply")
            # Another kind of run is refused, and what was stopped is finished all the same.
            with pytest.raises(InputError, match="a folder holds one run"):
                write(folder, NEW, "compare")
            assert files_in(folder) == NEW | mine, step
        seen |= taken
        if folder.exists():
            assert files_in(folder).items() >= mine.items()
        write(folder, NEW)
        assert files_in(folder) == NEW | mine, step
        assert read_by_headfit(folder) == {"B"}
    if there == "an earlier run":
        assert seen == {"A", "B", "refused"}
    assert list(tmp_path.glob(f"out-*/{UNFINISHED_RUN}")) == []


def test_a_full_disk_changes_nothing(tmp_path: Path) -> None:
    folder = folder_with(tmp_path, EARLIER)
    before = files_in(folder)
    for step in range(1, 10):  # five files and three folders are written aside
        expected = pytest.raises(InputError, match=r"no space left on device \(what was there befo")
        with expected, full_from(step):
            write(folder, NEW)
        assert files_in(folder) == before
        assert read_by_headfit(folder) == {"A"}


def test_a_move_that_fails_is_said_and_finished_by_the_next_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = folder_with(tmp_path, EARLIER)
    real = result_folder._move_file

    def denied(source: Path, place: Path) -> None:
        if place.name == "z.tsv":
            raise PermissionError(13, "Permission denied")
        real(source, place)

    with monkeypatch.context() as broken:
        broken.setattr(result_folder, "_move_file", denied)
        with pytest.raises(InputError, match="is left half-written: permission denied"):
            write(folder, NEW)
    assert read_by_headfit(folder) == set()
    write(folder, NEW)
    assert files_in(folder) == NEW | MINE


def test_ctrl_c_while_files_are_moved_leaves_the_folder_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = folder_with(tmp_path, EARLIER)
    real = result_folder._move_file
    moved: list[Path] = []

    def interrupted(source: Path, place: Path) -> None:
        real(source, place)
        moved.append(place)
        if len(moved) == 2:
            raise KeyboardInterrupt

    monkeypatch.setattr(result_folder, "_move_file", interrupted)
    with pytest.raises(KeyboardInterrupt):
        write(folder, NEW)
    assert files_in(folder) == NEW | MINE
    assert read_by_headfit(folder) == {"B"}


def test_a_place_that_cannot_be_taken_is_found_before_anything_changes(tmp_path: Path) -> None:
    folder = folder_with(tmp_path, EARLIER)
    (folder / "case.json").unlink()
    (folder / "case.json").mkdir()
    with pytest.raises(InputError, match=r"case\.json is a directory \(what was there before is"):
        write(folder, NEW)
    (folder / "case.json").rmdir()
    with pytest.raises(InputError, match=r"head\.ply is not a directory"):
        write(folder, NEW | {"head.ply/below/x": "B"})
    assert "B" not in files_in(folder).values()


def test_a_folder_one_may_not_write_to_is_found_before_anything_changes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = folder_with(tmp_path, EARLIER)
    inside = os.path.realpath(folder / "bids")
    may = os.access
    monkeypatch.setattr(os, "access", lambda at, mode: str(at) != inside and may(at, mode))
    with pytest.raises(InputError, match=r"permission denied \(what was there before is untouched"):
        write(folder, NEW)
    assert "B" not in files_in(folder).values()


def test_a_link_planted_where_files_are_put_aside_is_not_followed(tmp_path: Path) -> None:
    folder = folder_with(tmp_path, EARLIER)
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    (elsewhere / "notes.txt").write_text("mine")
    (folder / UNFINISHED_RUN).symlink_to(elsewhere)
    write(folder, NEW)
    assert files_in(folder) == NEW | MINE
    assert files_in(elsewhere) == {"notes.txt": "mine"}
    assert not (folder / UNFINISHED_RUN).is_symlink()


def test_a_second_writer_waits_and_then_is_kept_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = folder_with(tmp_path, EARLIER)
    lock = FileLock(folder / ".headfit-lock")
    assert lock.take()
    monkeypatch.setattr(result_folder, "_PATIENCE_S", 0.1)
    with pytest.raises(InputError, match="be written by one headfit at a time, got another one"):
        write(folder, NEW)
    assert read_by_headfit(folder) == {"A"}
    monkeypatch.setattr(result_folder, "_PATIENCE_S", 20.0)
    later = threading.Timer(0.2, lock.release)
    later.start()
    write(folder, NEW)
    later.join()
    assert files_in(folder) == NEW | MINE


WRITER = """
import sys
from pathlib import Path
from headfit.files.result_folder import write_folder
for k in range(25):
    text = f"{sys.argv[2]}{k}"
    files = {name: text for name in ("case.json", "head.ply", "bids/x.tsv", sys.argv[2])}
    write_folder(Path(sys.argv[1]), files, run="fit")
"""


def test_two_writers_at_once_leave_the_folder_of_one_of_them(tmp_path: Path) -> None:
    folder = tmp_path / "out"
    both = [
        subprocess.Popen([sys.executable, "-c", WRITER, str(folder), name]) for name in ("P", "Q")
    ]
    assert [process.wait(120) for process in both] == [0, 0]
    left = files_in(folder)
    assert len(set(left.values())) == 1
    assert left.keys() in (
        {"case.json", "head.ply", "bids/x.tsv", "P"},
        {"case.json", "head.ply", "bids/x.tsv", "Q"},
    )


def test_a_file_that_is_not_of_the_run_is_not_read(tmp_path: Path) -> None:
    folder = folder_with(tmp_path, EARLIER)
    (folder / "bids" / "x.tsv").write_text("of another head")
    with pytest.raises(FileFormatError, match=r"x\.tsv must be as headfit fit wrote it, got ano"):
        read_text(folder / "bids" / "x.tsv")
    (tmp_path / "x.tsv").write_text("of another head")
    assert read_text(tmp_path / "x.tsv") == "of another head"
    assert read_text(folder / "notes.txt") == "mine"


@pytest.mark.parametrize(
    "text", ["", "[]", "{}", '{"made_by": "x", "run": "fit", "files": {"../a": 1}}', "\0" * 40]
)
def test_a_file_of_that_name_that_is_no_manifest_is_left_alone(tmp_path: Path, text: str) -> None:
    (tmp_path / MANIFEST).write_text(text)
    (tmp_path / "head.ply").write_text("x")
    with pytest.raises(FileFormatError, match="be the manifest of a result folder"):
        write(tmp_path, NEW)
    with pytest.raises(FileFormatError, match="be the manifest of a result folder"):
        read_text(tmp_path / "head.ply")
    assert (tmp_path / MANIFEST).read_text() == text


@pytest.mark.parametrize("name", ["../x", "/x", "a/../../x", "a\\x", "", ".", MANIFEST, "a/./b"])
def test_no_name_leads_out_of_the_folder(tmp_path: Path, name: str) -> None:
    assert not is_inside(name)
    with pytest.raises(ValueError, match=re.escape(repr(name))):
        write(tmp_path / "out", {name: "x"})
    planted = tmp_path / "planted" / UNFINISHED_RUN
    planted.mkdir(parents=True)
    entry = f'{{"made_by": "headfit 1", "run": "fit", "files": {{{_quoted(name)}: {ENTRY}}}}}'
    (planted / MANIFEST).write_text(entry)
    with pytest.raises(FileFormatError, match="be the manifest"):
        write(planted.parent, NEW)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["planted"]


ENTRY = '{"bytes": 1, "sha256": "x"}'


def _quoted(name: str) -> str:
    return '"' + name.replace("\\", "\\\\") + '"'


def test_the_manifest_tells_run_version_sizes_and_checksums(tmp_path: Path) -> None:
    folder = tmp_path / "out"
    write(folder, {"a.txt": "abc"})
    manifest = read_manifest(folder)
    assert manifest is not None
    assert (manifest.run, manifest.version) == ("fit", __version__)
    # FIPS 180-4, the example of one block.
    digest = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert (manifest.files["a.txt"].size_bytes, manifest.files["a.txt"].sha256) == (3, digest)
