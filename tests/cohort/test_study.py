"""A whole study: complete, the same bits however it was run, honest about what cannot be told."""

from __future__ import annotations

import hashlib
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from commands import said
from invented_dataset import marks_near, write_dataset, write_marks, write_set

import headfit
from headfit.anatomy.arcs import mirrored
from headfit.cohort.journal import Journal
from headfit.cohort.people import Person, find_people
from headfit.cohort.person_row import person_row
from headfit.cohort.workers import solved_people
from headfit.errors import DrawingError, InputError

ROOT = Path(headfit.__file__).parents[1]


def bits(folder: Path) -> dict[str, str]:
    """Digest of every file of a study but its journal."""
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path.name != ".journal"
    }


def no_driver(*_: object) -> bytes:
    """In place of a shaded picture, which takes longer than all the rest of a small study."""
    raise DrawingError("no picture in this test", code="no-driver")


# The same at the head of a program.
NO_DRIVER = """
import headfit.output.picture
from headfit.errors import DrawingError
def no_driver(*_):
    raise DrawingError("no picture in this test", code="no-driver")
headfit.output.picture.png_bytes = no_driver
"""


@pytest.fixture
def unshaded(monkeypatch: pytest.MonkeyPatch) -> None:
    """A study without shaded pictures, as on a machine that draws none."""
    monkeypatch.setattr("headfit.output.picture.png_bytes", no_driver)


@pytest.fixture(scope="module")
def dataset(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Four people with tapes and two sessions, some with known faults."""
    root = write_dataset(tmp_path_factory.mktemp("study") / "d", 4)
    # sub-02, second session: a copy of the first. sub-03: two names exchanged. sub-04: cut short.
    write_marks(root, "sub-02", "ses-2", marks_near(10))
    marks = marks_near(21)
    names = list(marks.names)
    i, j = names.index("C3"), names.index("C4")
    names[i], names[j] = names[j], names[i]
    eeg = root / "sub-03" / "ses-2" / "eeg"
    write_set(eeg, "sub-03_ses-2", tuple(names), marks.points_mm, marks.landmarks)
    broken = root / "sub-04" / "ses-2" / "eeg" / "sub-04_ses-2_electrodes.tsv"
    broken.write_bytes(broken.read_bytes()[:9])
    return root


@pytest.fixture(scope="module")
def study(dataset: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("out") / "study"
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("headfit.output.picture.png_bytes", no_driver)
        frame = headfit.run_study(dataset, out, workers=0, by="group")
    assert isinstance(frame, pd.DataFrame)
    assert len(frame) > 100
    return out


def table(study: Path, name: str) -> pd.DataFrame:
    return pd.read_csv(study / "tables" / f"{name}.tsv", sep="\t", keep_default_na=True)


def test_known_faults_are_named_and_nothing_else(study: Path) -> None:
    told = table(study, "exclusions")
    said = {(row.person, row.what): row.reason for row in told.itertuples()}
    assert set(said) == {
        ("sub-02", "sub-02_ses-2_electrodes.tsv"),
        ("sub-03", "marks"),
        ("sub-04", "sub-04_ses-2_electrodes.tsv"),
    }
    assert "places of sub-02_ses-1_electrodes.tsv" in said["sub-02", told["what"][0]]
    assert said["sub-03", "marks"] == "names look mixed up: C4, C3"
    sets = table(study, "sets")
    assert sets["used"].sum() == 6
    people = table(study, "people").set_index("person")
    # A copy is no repeat: it would come back to nought.
    assert people["repeat_fit_mm"].notna().tolist() == [True, False, True, False]


@pytest.mark.usefixtures("unshaded")
def test_people_with_the_same_marks_are_named(tmp_path: Path) -> None:
    root = write_dataset(tmp_path / "d", 3, ("",))
    write_marks(root, "sub-03", "", marks_near(0))  # those of sub-01
    headfit.run_study(root, tmp_path / "out", workers=0)
    (row,) = table(tmp_path / "out", "exclusions").itertuples()
    assert row.person == "sub-03"
    assert "at the places of sub-01 sub-01_electrodes.tsv to 0.1 mm" in row.reason


def test_the_validator_of_the_standard_has_nothing_to_say(study: Path) -> None:
    validator = Path(sys.executable).with_name("bids-validator-deno")
    done = subprocess.run([validator, "--json", study], capture_output=True, text=True, check=False)
    assert json.loads(done.stdout)["issues"]["issues"] == []
    rows = pd.read_csv(study / "sub-01/eeg/sub-01_acq-predicted_electrodes.tsv", sep="\t")
    held = table(study, "positions").query("person == 'sub-01'")
    np.testing.assert_allclose(rows[["x", "y", "z"]], held[["x_mm", "y_mm", "z_mm"]], atol=6e-3)
    assert set(rows["status"]) == {"predicted"}


def test_text_and_parquet_hold_the_same_and_the_dictionary_names_every_column(study: Path) -> None:
    names = sorted(path.stem for path in (study / "tables").glob("*.tsv"))
    assert len(names) >= 11
    for name in names:
        text = table(study, name)
        held = pd.read_parquet(study / "tables" / f"{name}.parquet")
        told = json.loads((study / "tables" / f"{name}.json").read_text())
        assert list(text.columns) == list(held.columns) == list(told)
        assert len(text) == len(held)
        for column in held.select_dtypes("number"):
            # The text is rounded to the thousandth.
            np.testing.assert_allclose(
                text[column].astype(float), held[column], atol=6e-4, rtol=1e-6
            )


def test_figures_of_a_site_are_those_pandas_finds_in_the_marks(study: Path) -> None:
    marks = table(study, "marks").query("used and site == 'C3'")
    people = marks.groupby("person")[["landmarks_along_mm", "landmarks_across_mm"]].mean()
    sites = table(study, "sites").query("site == 'C3' and frame == 'landmarks'").iloc[0]
    assert sites.claim == "accuracy"
    assert sites.n_people == len(people) == 4
    assert sites.along_mm == pytest.approx(people.iloc[:, 0].mean(), abs=2e-3)
    assert sites.across_sd_mm == pytest.approx(people.iloc[:, 1].std(), abs=2e-3)
    assert sites.size_mm == pytest.approx(np.hypot(*people.to_numpy().T).mean(), abs=2e-3)


@pytest.mark.usefixtures("unshaded")
def test_accuracy_is_claimed_only_with_a_tape(tmp_path: Path) -> None:
    root = write_dataset(tmp_path / "d", 1, ("ses-1",), tape=False)
    headfit.run_study(root, tmp_path / "out", workers=0)
    assert set(table(tmp_path / "out", "sites")["claim"]) == {"consistency"}
    said = " ".join(json.loads((tmp_path / "out" / "study.json").read_text())["findings"])
    assert "how accurate the marks are cannot be told" in said
    assert "repeatability cannot be told" in said
    assert "Accuracy:" not in said
    # One person has no interval, and none is told.
    assert "(1 person)" in said
    assert "nan" not in said


def test_one_head_serves_all_sessions_of_a_person(tmp_path: Path) -> None:
    root = write_dataset(tmp_path / "d", 1, ("ses-1", "ses-2"), tape=False)
    write_marks(root, "sub-01", "ses-2", marks_near(1, slide_mm=8.0))
    (person,) = find_people(root).people
    row = person_row(person, "10-20")
    assert row["head_from"] == "marks"
    first, second = (unit["slide_mm"][1] for unit in row["units"])
    # The whole set slid 8 mm to the front between the sessions; landmarks stayed.
    assert second - first == pytest.approx(8.0, abs=1.5)


def test_wrong_names_do_not_pass_for_another_person(tmp_path: Path) -> None:
    root = write_dataset(tmp_path / "d", 1, ("ses-1", "ses-2"))
    marks = marks_near(2)
    names = tuple(mirrored(name) for name in marks.names)
    eeg = root / "sub-01" / "ses-2" / "eeg"
    write_set(eeg, "sub-01_ses-2", names, marks.points_mm, marks.landmarks)
    (person,) = find_people(root).people
    row = person_row(person, "10-20")
    assert "left and right are exchanged" in row["units"][1]["doubts"]["set-names-mixed"]
    assert "repeat" not in row


def test_a_run_that_repeats_the_positions_of_its_session_counts_once(tmp_path: Path) -> None:
    marks = marks_near(1)
    for run in "12":
        write_set(
            tmp_path / "sub-01" / "eeg",
            f"sub-01_run-{run}",
            marks.names,
            marks.points_mm,
            marks.landmarks,
        )
    (person,) = find_people(tmp_path).people
    first, second = person_row(person, "10-20")["units"]
    assert not first["problem"]
    assert "counted once" in second["problem"]


@pytest.mark.usefixtures("unshaded")
def test_order_and_number_of_workers_do_not_change_a_bit(
    dataset: Path, study: Path, tmp_path: Path
) -> None:
    seen = []
    headfit.run_study(
        dataset, tmp_path / "out", workers=2, by="group", progress=lambda *n: seen.append(n)
    )
    assert bits(tmp_path / "out") == bits(study)
    assert seen == [(k, 4) for k in range(5)]


def test_dask_gives_the_same_bits(dataset: Path, study: Path, tmp_path: Path) -> None:
    script = (
        f"{NO_DRIVER}"
        "import sys, headfit\n"
        "if __name__ == '__main__':\n"
        "    headfit.run_study(sys.argv[1], sys.argv[2], dask='local:2', by='group')\n"
    )
    (tmp_path / "run.py").write_text(script)
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    out = tmp_path / "out"
    subprocess.run(
        [sys.executable, str(tmp_path / "run.py"), str(dataset), str(out)],
        check=True,
        env=environment,
        timeout=300,
        capture_output=True,
    )
    assert bits(out) == bits(study)


@pytest.mark.usefixtures("unshaded")
def test_a_scheduler_elsewhere_loses_a_worker_and_nothing_else(
    dataset: Path, study: Path, tmp_path: Path
) -> None:
    """A scheduler and two workers as processes of their own, as on a cluster; one is killed."""
    told = tmp_path / "scheduler.json"
    environment = os.environ | {"PYTHONPATH": str(ROOT), "OPENBLAS_NUM_THREADS": "1"}
    dask = [sys.executable, "-m", "dask"]
    here = ["--scheduler-file", str(told), "--host", "127.0.0.1", "--no-dashboard"]

    def start(*arguments: str) -> subprocess.Popen[bytes]:
        return subprocess.Popen(
            [*dask, *arguments, *here],
            env=environment,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )

    running = [start("scheduler", "--port", "0")]
    try:
        waited_for(told.exists)
        running += [start("worker", "--nthreads", "1", "--no-nanny") for _ in range(2)]
        address = json.loads(told.read_text(encoding="utf-8"))["address"]
        seen = []

        def progress(n_done: int, n_all: int) -> None:
            if n_done == 1:
                running[1].kill()
            seen.append((n_done, n_all))

        headfit.run_study(dataset, tmp_path / "out", dask=address, by="group", progress=progress)
    finally:
        for process in running[::-1]:
            process.kill()
            process.wait()
    assert running[1].returncode == -signal.SIGKILL
    assert seen == [(k, 4) for k in range(5)]
    assert bits(tmp_path / "out") == bits(study)


def waited_for(there: Callable[[], bool], seconds: float = 60.0) -> None:
    end = time.monotonic() + seconds
    while not there() and time.monotonic() < end:
        time.sleep(0.1)
    assert there()


@pytest.mark.usefixtures("unshaded")
def test_started_again_only_what_changed_is_computed(tmp_path: Path) -> None:
    root = write_dataset(tmp_path / "d", 2, ("ses-1",))
    out = tmp_path / "out"
    headfit.run_study(root, out, workers=0)
    first, written = bits(out), (out / "report.html").stat().st_mtime_ns
    counts: list[tuple[int, int]] = []
    headfit.run_study(root, out, workers=0, progress=lambda *n: counts.append(n))
    assert counts == [(2, 2)]
    assert bits(out) == first
    assert (out / "report.html").stat().st_mtime_ns == written
    (out / "methods.txt").write_text("of somebody else")
    headfit.run_study(root, out, workers=0)
    assert bits(out) == first
    write_marks(root, "sub-02", "ses-1", marks_near(77))
    counts.clear()
    headfit.run_study(root, out, workers=0, progress=lambda *n: counts.append(n))
    assert counts == [(1, 2), (2, 2)]
    fresh = tmp_path / "fresh"
    headfit.run_study(root, fresh, workers=0)
    assert bits(out) == bits(fresh)


@pytest.mark.usefixtures("unshaded")
def test_killed_at_any_moment_a_study_is_never_taken_for_whole(tmp_path: Path) -> None:
    root = write_dataset(tmp_path / "d", 3, ("ses-1",))
    whole = tmp_path / "whole"
    headfit.run_study(root, whole, workers=0)
    out = tmp_path / "out"
    script = (
        f"{NO_DRIVER}"
        "import sys, headfit\n"
        "if __name__ == '__main__':\n"
        "    headfit.run_study(sys.argv[1], sys.argv[2], workers=0)\n"
    )
    (tmp_path / "run.py").write_text(script)
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    rng = np.random.default_rng(3)
    n_killed = 0
    for _ in range(5):
        process = subprocess.Popen(
            [sys.executable, str(tmp_path / "run.py"), str(root), str(out)], env=environment
        )
        time.sleep(rng.uniform(1.0, 5.0))
        if process.poll() is None:
            process.send_signal(signal.SIGKILL)
            n_killed += 1
        process.wait()
        if (out / "study.json").exists():
            told = json.loads((out / "study.json").read_text())["sha256"]
            assert told == {k: v for k, v in bits(out).items() if k != "study.json"}
    assert n_killed
    headfit.run_study(root, out, workers=0)
    # What was cut short lies beside under a name of its own until an hour has passed.
    left = {k: v for k, v in bits(out).items() if ".unfinished-" not in k and k != "study.json"}
    assert left == {k: v for k, v in bits(whole).items() if k != "study.json"}


def test_the_workers_of_a_killed_study_end_too(tmp_path: Path) -> None:
    out = tmp_path / "out"
    process = subprocess.Popen(
        [sys.executable, "-m", "headfit", "study", "--simulate", "99", "-o", out, "--workers=2"],
        cwd=ROOT,
        stderr=subprocess.DEVNULL,
    )
    journal = out / ".journal"
    waited_for(lambda: journal.exists() and journal.stat().st_size > 0, 60.0)
    children = Path(f"/proc/{process.pid}/task/{process.pid}/children").read_text().split()
    process.kill()
    process.wait()
    assert len(children) >= 2
    waited_for(lambda: not any(Path(f"/proc/{child}/exe").exists() for child in children), 30.0)


def test_a_torn_line_of_the_journal_is_passed_over(tmp_path: Path) -> None:
    path = tmp_path / ".journal"
    with Journal(path) as journal:
        journal.add("sub-01", "a", {"n": 1})
        journal.add("sub-02", "b", {"n": 2})
    path.write_bytes(path.read_bytes()[:-7])
    with Journal(path) as journal:
        assert journal.holds("sub-01", "a")
        assert not journal.holds("sub-02", "b")
        journal.add("sub-02", "c", {"n": 3})
        assert journal.row("sub-02") == {"n": 3}
    with Journal(path) as journal:
        assert len(journal) == 2
        assert journal.row("sub-01") == {"n": 1}


def test_a_worker_that_dies_takes_nobody_with_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PYTHONPATH", f"{ROOT}{os.pathsep}{ROOT / 'tests'}")
    people = [Person(f"sub-{i}", invented=(1, i)) for i in range(3)]
    people.insert(1, DyingPerson("sub-dying", invented=(1, 9)))
    rows = {person.label: row for person, row in solved_people(people, "10-20", workers=1)}
    assert set(rows) == {"sub-0", "sub-1", "sub-2", "sub-dying"}
    assert "the worker died" in rows["sub-dying"]["problem"]
    assert not any(rows[label]["problem"] for label in ("sub-0", "sub-1", "sub-2"))


class DyingPerson(Person):
    """Kills the process that looks at it."""

    def __reduce__(self) -> object:
        return os._exit, (1,)


@pytest.mark.usefixtures("unshaded")
def test_simulated_people_come_from_seed_and_number_alone(tmp_path: Path) -> None:
    first = person_row(Person("sub-sim0000003", invented=(5, 2)), "10-20")
    again = person_row(Person("sub-sim0000003", invented=(5, 2)), "10-20")
    other = person_row(Person("sub-sim0000003", invented=(6, 2)), "10-20")
    assert first == again != other
    headfit.run_study(None, tmp_path / "out", simulate=6, seed=5, workers=0)
    truth = table(tmp_path / "out", "truth")
    sets = table(tmp_path / "out", "sets")
    for name in ("pitch", "roll", "yaw", "right", "front", "up"):
        # Landmarks of 3 to 7 mm and the tape add what the set itself has not: a loose bound.
        assert np.abs(truth[name] - sets[name]).median() < 5.0
    said = (tmp_path / "out" / "report.html").read_text()
    assert "invented" in said
    assert "invented data" in (tmp_path / "out" / "figures" / "common_part.svg").read_text()
    assert table(tmp_path / "out", "people")["invented"].all()


def test_a_study_is_of_one_thing(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="got neither"):
        headfit.run_study(None, tmp_path)
    with pytest.raises(InputError, match="got both"):
        headfit.run_study(tmp_path, tmp_path, simulate=3)
    with pytest.raises(InputError, match="seed -1"):
        headfit.run_study(None, tmp_path, simulate=3, seed=-1)
    root = write_dataset(tmp_path / "d", 1, ("",))
    before = bits(root)
    for place in (root, tmp_path, root / "sub-01" / ".."):
        with pytest.raises(InputError, match="lie apart from the dataset or below it"):
            headfit.run_study(root, place)
    assert bits(root) == before
    (tmp_path / "taken").write_text("x")
    with pytest.raises(InputError, match="be a folder, got a file"):
        headfit.run_study(None, tmp_path / "taken", simulate=1)


def test_the_command_tells_what_was_found(
    dataset: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "out"
    code, told, complaint = said(
        capsys, "study", dataset, "-o", out, "--by", "group", "--workers", "0"
    )
    assert (code, complaint) == (0, "")
    assert "4 people; heads: 4 from tape. 6 of 8 sets of marks count" in told
    assert (out / "report.html").is_file()
    assert len(list((out / "figures").glob("head_accuracy_*.png"))) == 4
