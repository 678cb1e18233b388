"""Files are whole or not there; nothing is lost when a write fails or is killed."""

import errno
import os
import signal
import stat
import subprocess
import sys
import textwrap
import time
from pathlib import Path
from typing import IO

import pytest

from headfit.errors import FileFormatError, InputError, MeshError
from headfit.files.whole import (
    LEFT_OVER_S,
    UNFINISHED,
    about,
    read_bytes,
    read_text,
    write_new_folder,
    write_whole,
)


def names_in(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_text_and_bytes_are_written_as_they_are(tmp_path: Path) -> None:
    assert write_whole(tmp_path / "a.txt", "µm\r\nnext\n").read_bytes() == b"\xc2\xb5m\r\nnext\n"
    assert write_whole(tmp_path / "b.bin", b"\x00\xff").read_bytes() == b"\x00\xff"
    assert names_in(tmp_path) == ["a.txt", "b.bin"]


def test_missing_folders_are_made(tmp_path: Path) -> None:
    assert write_whole(tmp_path / "one" / "two" / "a.txt", "x").read_text() == "x"


def test_a_new_file_has_the_permissions_the_system_gives_and_an_old_one_keeps_its_own(
    tmp_path: Path,
) -> None:
    (tmp_path / "usual").write_text("")
    made = write_whole(tmp_path / "made", "x")
    assert made.stat().st_mode == (tmp_path / "usual").stat().st_mode
    made.chmod(0o640)
    write_whole(made, "y")
    assert made.stat().st_mode & 0o777 == 0o640


def test_a_link_keeps_pointing_to_its_file(tmp_path: Path) -> None:
    (tmp_path / "real").write_text("old")
    (tmp_path / "link").symlink_to(tmp_path / "real")
    write_whole(tmp_path / "link", "new")
    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "real").read_text() == "new"


@pytest.mark.parametrize("broken", ["replace", "fsync"])
def test_a_failed_write_leaves_the_old_file_and_nothing_else(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, broken: str
) -> None:
    target = write_whole(tmp_path / "a.txt", "old")

    def no_space(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, broken, no_space)
    with pytest.raises(InputError, match=r"a\.txt cannot be written: no space left on device"):
        write_whole(target, "new")
    assert target.read_text() == "old"
    assert names_in(tmp_path) == ["a.txt"]


def test_a_drive_that_cannot_flush_folders_is_written_all_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = os.fsync

    def files_only(descriptor: int) -> None:
        if stat.S_ISDIR(os.fstat(descriptor).st_mode):
            raise OSError(22, "Invalid argument")
        real(descriptor)

    monkeypatch.setattr(os, "fsync", files_only)
    assert write_whole(tmp_path / "a.txt", "new").read_text() == "new"


def test_ctrl_c_in_the_middle_leaves_the_old_file_and_nothing_else(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    target = write_whole(tmp_path / "a.txt", "old")

    def interrupted(_: int) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "fsync", interrupted)
    with pytest.raises(KeyboardInterrupt):
        write_whole(target, "new")
    assert target.read_text() == "old"
    assert names_in(tmp_path) == ["a.txt"]


KILLED_AT = {
    "before the flush": "os.fsync = die",
    "before the move": "os.replace = die",
    "half way through the bytes": "os.fsync = lambda fd: (os.ftruncate(fd, 2), die())",
}


@pytest.mark.parametrize("moment", KILLED_AT)
def test_a_killed_process_leaves_the_old_file_whole_and_its_rest_is_cleared_later(
    tmp_path: Path, moment: str
) -> None:
    target = write_whole(tmp_path / "a.txt", "old")
    script = f"""
        import os, signal
        from headfit.files.whole import write_whole
        def die(*_):
            os.kill(os.getpid(), signal.SIGKILL)
        {KILLED_AT[moment]}
        write_whole({str(target)!r}, "new contents")
    """
    done = subprocess.run([sys.executable, "-c", textwrap.dedent(script)], check=False)
    assert done.returncode == -signal.SIGKILL
    assert target.read_text() == "old"
    (left,) = [path for path in tmp_path.iterdir() if path != target]
    assert UNFINISHED in left.name

    write_whole(target, "newer")
    assert left.exists()  # it could belong to a process that is still writing
    long_ago = time.time() - LEFT_OVER_S - 1
    os.utime(left, (long_ago, long_ago))
    write_whole(target, "newest")
    assert names_in(tmp_path) == ["a.txt"]
    assert target.read_text() == "newest"


def test_what_cannot_be_written_is_said_in_one_sentence(tmp_path: Path) -> None:
    blocking = write_whole(tmp_path / "file", "x")
    with pytest.raises(InputError, match=r"cannot be written: .* \(what was there before is unt"):
        write_whole(blocking / "below", "y")
    with pytest.raises(InputError, match="cannot be written: is a directory"):
        write_whole(tmp_path, "y")
    with pytest.raises(InputError, match="null"):
        write_whole(f"{tmp_path}/nul\0", "y")


def test_a_new_folder_appears_whole(tmp_path: Path) -> None:
    made = write_new_folder(tmp_path / "out", {"a.txt": "1", "deep/b.bin": b"2"})
    assert (made / "a.txt").read_text() == "1"
    assert (made / "deep" / "b.bin").read_bytes() == b"2"
    assert names_in(tmp_path) == ["out"]


def test_a_new_folder_does_not_appear_when_one_file_fails(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    flushed = []

    def second_fails(descriptor: int) -> None:
        flushed.append(descriptor)
        if len(flushed) > 2:  # the first file, then its folder
            raise OSError(5, "Input/output error")

    monkeypatch.setattr(os, "fsync", second_fails)
    with pytest.raises(InputError, match="input/output error"):
        write_new_folder(tmp_path / "out", {"a.txt": "1", "b.txt": "2"})
    assert names_in(tmp_path) == []


def test_a_folder_that_is_there_is_not_replaced(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "notes.txt").write_text("mine")
    with pytest.raises(FileExistsError):
        write_new_folder(tmp_path / "out", {"a.txt": "1"})
    assert names_in(tmp_path) == ["out"]
    assert names_in(tmp_path / "out") == ["notes.txt"]


def test_the_rest_of_a_killed_folder_is_cleared_later(tmp_path: Path) -> None:
    left = tmp_path / f".out{UNFINISHED}0123"
    (left / "deep").mkdir(parents=True)
    long_ago = time.time() - LEFT_OVER_S - 1
    os.utime(left, (long_ago, long_ago))
    write_new_folder(tmp_path / "out", {"a.txt": "1"})
    assert names_in(tmp_path) == ["out"]


def test_a_file_in_the_place_of_the_folder_is_not_replaced(tmp_path: Path) -> None:
    blocking = write_whole(tmp_path / "out", "mine")
    for place in (blocking, blocking / "below"):
        with pytest.raises(InputError, match=r"cannot be written: (not a directory|file exists)"):
            write_new_folder(place, {"a.txt": "1"})
    assert blocking.read_text() == "mine"
    assert names_in(tmp_path) == ["out"]


def test_a_link_among_what_killed_runs_left_is_removed_and_not_followed(tmp_path: Path) -> None:
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "elsewhere" / "notes.txt").write_text("mine")
    left = tmp_path / f".a.txt{UNFINISHED}0123"
    left.symlink_to(tmp_path / "elsewhere")
    os.utime(left, (0, 0), follow_symlinks=False)
    write_whole(tmp_path / "a.txt", "new")
    assert names_in(tmp_path) == ["a.txt", "elsewhere"]
    assert names_in(tmp_path / "elsewhere") == ["notes.txt"]


def test_a_file_that_cannot_be_begun_is_refused_for_its_own_reason(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Not for the lack of the unfinished file, which there never was."""

    def full(self: Path, mode: str) -> IO[bytes]:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(Path, "open", full)
    with pytest.raises(InputError, match="cannot be written: no space left on device"):
        write_whole(tmp_path / "a.txt", "new")


@pytest.mark.parametrize("ahead_s", [-LEFT_OVER_S - 1, LEFT_OVER_S + 1, 1e9])
def test_what_killed_runs_left_is_cleared_whatever_its_date(tmp_path: Path, ahead_s: float) -> None:
    left = tmp_path / f".a.txt{UNFINISHED}0123"
    left.touch()
    date = time.time() + ahead_s
    os.utime(left, (date, date))
    write_whole(tmp_path / "a.txt", "new")
    assert names_in(tmp_path) == ["a.txt"]


# 255 bytes are what common file systems take: 80 letters of three bytes and an ending are fewer.
@pytest.mark.parametrize("name", ["語" * 80 + ".toml", "é" * 120, "x" * 255])
def test_the_longest_names_a_system_takes_are_written(tmp_path: Path, name: str) -> None:
    assert write_whole(tmp_path / name, "new").read_text() == "new"
    write_whole(tmp_path / name, "newer")
    write_new_folder(tmp_path / "below" / name, {"a.txt": "1"})
    assert names_in(tmp_path / "below") == [name]
    assert names_in(tmp_path) == sorted(["below", name])


def test_a_name_no_system_takes_is_refused(tmp_path: Path) -> None:
    for write in (
        lambda path: write_whole(path, "x"),
        lambda path: write_new_folder(path, {"a": "x"}),
    ):
        with pytest.raises(InputError, match="cannot be written: file name too long"):
            write(tmp_path / ("x" * 300))
    assert names_in(tmp_path) == []


def test_a_pipe_keeps_no_reader_waiting(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "case.toml")
    with pytest.raises(FileFormatError, match="must be a file, got a device or a pipe"):
        read_bytes(tmp_path / "case.toml", 10)
    with pytest.raises(FileFormatError, match="must be a file, got a device or a pipe"):
        read_text("/dev/zero")


def test_what_cannot_be_read_is_said_in_one_sentence(tmp_path: Path) -> None:
    (tmp_path / "empty").touch()
    (tmp_path / "long").write_bytes(b"x" * 2_000_001)
    with pytest.raises(FileFormatError, match=r"there is no file .*nowhere \(is the name right"):
        read_bytes(tmp_path / "nowhere", 10)
    with pytest.raises(FileFormatError, match="must be a file, got a folder"):
        read_bytes(tmp_path, 10)
    with pytest.raises(FileFormatError, match="must hold something, got an empty file"):
        read_bytes(tmp_path / "empty", 10)
    with pytest.raises(FileFormatError, match="must be at most 2 MB long, got a longer file"):
        read_bytes(tmp_path / "long", 2_000_000)
    with pytest.raises(FileFormatError, match="cannot be read: not a directory"):
        read_bytes(tmp_path / "empty" / "below", 10)
    assert read_bytes(tmp_path / "long", 2_000_001) == b"x" * 2_000_001


def test_text_is_utf_8_with_or_without_a_byte_order_mark(tmp_path: Path) -> None:
    path = tmp_path / "a.txt"
    path.write_bytes(b"\xef\xbb\xbfK\xc3\xb6ln\n")
    assert read_text(path) == "Köln\n"
    path.write_bytes("first\nK\xf6ln".encode("latin-1"))
    with pytest.raises(FileFormatError, match=r"must be UTF-8 text, got byte 0xf6 in line 2"):
        read_text(path)


def test_a_sentence_names_its_file_once_and_keeps_its_facts(tmp_path: Path) -> None:
    path = tmp_path / "head.ply"
    expected = pytest.raises(MeshError, match=r"^head\.ply: a hole$")
    with expected as caught, about(path), about(path):
        raise MeshError("a hole", code="mesh-hole", face=7)
    assert caught.value.code == "mesh-hole"
    assert caught.value.facts == {"face": 7}
