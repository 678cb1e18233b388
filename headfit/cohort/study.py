"""A whole study in one call: people found, solved, put in tables, told in figures and words.

The folder of a study is whole when study.json stands in it: that file is taken away first, written
last, and names the checksum of every other one.
"""

from __future__ import annotations

import hashlib
import json
import shlex
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from headfit import __version__
from headfit.anatomy.landmarks import Landmarks
from headfit.anatomy.sites import SYSTEMS
from headfit.cohort import statistics
from headfit.cohort.columns import TABLES
from headfit.cohort.figures import figures
from headfit.cohort.flat_tables import write_flat_tables
from headfit.cohort.journal import Journal
from headfit.cohort.people import Cohort, Person, checksum, find_people
from headfit.cohort.person_page import person_page
from headfit.cohort.person_row import PersonRow
from headfit.cohort.report import Story, study_report
from headfit.cohort.statistics import Row
from headfit.cohort.words import counted, findings, methods
from headfit.cohort.workers import solved_people
from headfit.errors import InputError, sentence, unknown_name
from headfit.files.bids import BIDS_VERSION, predicted_files
from headfit.files.parquet import check_installed, read_frame, write_table
from headfit.files.row_table import read_rows
from headfit.files.whole import write_whole
from headfit.reminders import NOT_MEDICAL

MOST_PAGES = 200
_MOST_INVENTED = 9_999_999
_DONE = "study.json"
_JOURNAL = ".journal"
Progress = Callable[[int, int], None]


def run_study(
    dataset: str | Path | None,
    output: str | Path,
    *,
    tape: str | Path | None = None,
    system: str = "10-20",
    by: str = "",
    simulate: int = 0,
    seed: int = 0,
    workers: int | None = None,
    dask: str | None = None,
    progress: Progress | None = None,
) -> Any:
    """A `pandas.DataFrame` of the figures of every site, after the whole study was written.

    Started again, only people who are new or changed are computed. The other tables are read by
    ``pandas.read_parquet(output / "tables" / "marks.parquet")`` and so on. In a script, call it
    under ``if __name__ == "__main__":``, because workers are fresh interpreters.

    Parameters
    ----------
    dataset : path or None
        Folder of a BIDS dataset; None when people are simulated.
    output : path
        Folder to write; made when it is not there.
    tape : path, optional
        Table of tape readings, see `headfit.files.tape_table`; else participants.tsv may hold them.
    system : str
        Of the predicted positions; marks are compared at the sites they name.
    by : str
        Column of participants.tsv, sessions.tsv or scans.tsv, or an entity, by which repeats and
        groups are told apart: rater, device, group, site, acq.
    simulate : int
        So many invented people instead of a dataset.
    seed : int
        Of the invented people.
    workers : int, optional
        Local processes; default one a processor; 0 computes in this one.
    dask : str, optional
        Address of a Dask scheduler, or "local:N".
    progress : callable, optional
        Called with the number of people done and of all.

    Raises
    ------
    InputError
        Nothing to study, the folder cannot be written, or the extra `study` is not installed.
    FileFormatError, SheetError, UnknownNameError
        As `headfit.cohort.people.find_people`.
    """
    check_installed()
    if system not in SYSTEMS:
        raise unknown_name("system", system, SYSTEMS)
    cohort = _cohort(dataset, tape, by, simulate, seed)
    folder = Path(output)
    tables = folder / "tables"
    rules = f"{system} {by}"
    checksums = hashlib.sha256()
    command = _command(dataset, tape, system, by, simulate, seed)
    _check_output(folder, dataset)
    with Journal(folder / _JOURNAL) as journal:
        for person in _solve_missing(
            cohort, journal, rules, progress, system=system, by=by, workers=workers, dask=dask
        ):
            checksums.update(person.encode())
        inputs = _inputs(cohort, command, checksums.hexdigest())
        if _is_finished(folder, inputs):
            return read_frame(tables / "sites.parquet")
        (folder / _DONE).unlink(missing_ok=True)
        rows_in_order = (journal.row(person.label) for person in cohort.people)
        write_flat_tables(cohort, rows_in_order, tables)
        rows = _statistics(tables, by)
        counts = counted(tables)
        told = methods(cohort, counts, system, checksums.hexdigest())
        pages = _pages(cohort, rows["outliers"])
        story = Story(cohort, counts, findings(cohort, counts, rows), told, rows, pages, command)
        _write_people(folder, pages, journal, cohort)
    invented = simulate > 0
    drawn = list(figures(tables, rows, invented=invented))
    for figure in drawn:
        write_whole(folder / "figures" / f"{figure.name}.svg", figure.svg)
        if figure.png is not None:
            write_whole(folder / "figures" / f"{figure.name}.png", figure.png)
    write_whole(folder / "report.html", study_report(story, drawn))
    write_whole(folder / "methods.txt", told)
    _write_dataset_files(folder, story, invented=invented)
    _write_done(folder, story, inputs)
    return read_frame(tables / "sites.parquet")


def _cohort(
    dataset: str | Path | None, tape: str | Path | None, by: str, simulate: int, seed: int
) -> Cohort:
    if (dataset is None) == (simulate <= 0):
        raise InputError(
            sentence(
                "a study",
                "be made of a BIDS dataset or of simulated people",
                "neither" if dataset is None else "both",
                "give the folder of the dataset, or --simulate N",
            ),
            code="study-of-what",
        )
    if dataset is not None:
        return find_people(dataset, tape, by)
    if simulate > _MOST_INVENTED or seed < 0:
        raise InputError(
            sentence(
                "simulated people",
                f"be 1 to {_MOST_INVENTED}, with a seed of 0 or more",
                f"{simulate} and seed {seed}",
            ),
            code="study-of-what",
        )
    return Cohort(f"{simulate} invented people, seed {seed}", _Invented(simulate, seed))


class _Invented(Sequence[Person]):
    """Invented people, made when one is asked for."""

    def __init__(self, n_people: int, seed: int) -> None:
        self._numbers, self._seed = range(n_people), seed

    def __len__(self) -> int:
        return len(self._numbers)

    def __getitem__(self, i: Any) -> Any:
        number = self._numbers[i]
        if isinstance(number, range):
            return [self._person(each) for each in number]
        return self._person(number)

    def _person(self, number: int) -> Person:
        return Person(f"sub-sim{number + 1:07d}", invented=(self._seed, number))


def _solve_missing(
    cohort: Cohort, journal: Journal, rules: str, progress: Progress | None, **how: Any
) -> Iterator[str]:
    """Compute who is not in the journal; afterwards the checksum of everyone, in order."""
    n_all = len(cohort.people)
    n_done = sum(journal.holds(person.label, checksum(person, rules)) for person in cohort.people)
    if progress is not None:
        progress(n_done, n_all)
    missing = (
        person
        for person in cohort.people
        if not journal.holds(person.label, checksum(person, rules))
    )
    for person, row in solved_people(missing, **how):
        journal.add(person.label, checksum(person, rules), row)
        n_done += 1
        if progress is not None:
            progress(n_done, n_all)
    journal.flush()
    for person in cohort.people:
        yield checksum(person, rules)


def _statistics(tables: Path, by: str) -> dict[str, list[Row]]:
    """The rows of every table of statistics, after they were written."""
    sites = list(statistics.site_rows(tables))
    repeats = list(statistics.repeat_rows(tables, by))
    rows = {
        "sites": sites,
        "repeats": repeats,
        "common": list(statistics.common_rows(tables)),
        "groups": list(statistics.group_rows(tables, by)) if by else [],
        "outliers": list(statistics.outlier_rows(tables)),
        "power": list(statistics.power_rows(tables, sites, repeats)),
    }
    for name, found in rows.items():
        write_table(tables / name, TABLES[name], found)
    rows["exclusions"] = [dict(row) for row in read_rows(tables / "exclusions.tsv")]
    return rows


def _pages(cohort: Cohort, outliers: Sequence[Row]) -> list[str]:
    """Who has a page: all of a small study, else the outliers."""
    if len(cohort.people) <= MOST_PAGES:
        return [person.label for person in cohort.people]
    return sorted({str(row["person"]) for row in outliers})[:MOST_PAGES]


def _write_people(folder: Path, pages: Sequence[str], journal: Journal, cohort: Cohort) -> None:
    for old in folder.glob("pages/sub-*.html"):  # of people who are no longer shown
        if old.stem not in pages:
            old.unlink()
            for file in folder.glob(f"{old.stem}/eeg/{old.stem}_acq-predicted_*"):
                file.unlink()
    for label in pages:
        row: PersonRow = journal.row(label)
        write_whole(folder / "pages" / f"{label}.html", person_page(row, cohort))
        for name, text in _predicted(row).items():
            write_whole(folder / name, text)


def _predicted(row: PersonRow) -> dict[str, str]:
    """The predicted positions of a person as BIDS files; none without a head."""
    if "landmarks_mm" not in row:
        return {}
    label = row["person"]
    rows = [
        [site, *point, sure]
        for site, point, sure in zip(row["sites"], row["points_mm"], row["sure_mm"], strict=True)
    ]
    landmarks = Landmarks(*(np.array(point) for point in row["landmarks_mm"]))
    stem = f"{label}/eeg/{label}_acq-predicted"
    return predicted_files(stem, rows, landmarks, under_marks=row["head_from"] == "marks")


def _command(
    dataset: str | Path | None,
    tape: str | Path | None,
    system: str,
    by: str,
    simulate: int,
    seed: int,
) -> str:
    parts = ["headfit", "study"]
    parts += [Path(dataset).name] if dataset is not None else ["--simulate", str(simulate)]
    parts += ["--seed", str(seed)] if simulate and seed else []
    parts += ["--tape", Path(tape).name] if tape is not None else []
    parts += ["--system", system] if system != "10-20" else []
    parts += ["--by", by] if by else []
    return " ".join(shlex.quote(part) for part in [*parts, "-o", "study"])


def _write_dataset_files(folder: Path, story: Story, *, invented: bool) -> None:
    about = {
        "Name": story.title,
        "BIDSVersion": BIDS_VERSION,
        "DatasetType": "derivative",
        "License": "CC0" if invented else "As the source dataset",
        "Authors": ["the authors of the source dataset", "headfit (program)"],
        "GeneratedBy": [{"Name": "headfit", "Version": __version__}],
    }
    write_whole(folder / "dataset_description.json", json.dumps(about, indent=2) + "\n")
    said = "".join(f"- {text}\n" for text in story.said)
    write_whole(
        folder / "README.md",
        f"# {story.title}\n\n{said}\n{story.methods}\nTables are in tables/, each as TSV and "
        "Parquet with a data dictionary beside it; figures in figures/; report.html opens in any "
        f"browser without a network. {NOT_MEDICAL}\n",
    )
    ignored = ("tables", "figures", "pages", "report.html", "methods.txt", _DONE, _JOURNAL)
    write_whole(folder / ".bidsignore", "".join(f"{name}\n" for name in ignored))


def _inputs(cohort: Cohort, command: str, people: str) -> str:
    """Checksum of all that decides on what is written."""
    parts = [__version__, command, people, cohort.name, cohort.in_prior, str(cohort.left_out)]
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()


def _is_finished(folder: Path, inputs: str) -> bool:
    """Whether the folder holds the whole of this very study, every file as it was written."""
    try:
        done = json.loads((folder / _DONE).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return False
    return (
        isinstance(done, dict)
        and done.get("inputs") == inputs
        and done.get("sha256") == _files(folder)
    )


def _files(folder: Path) -> dict[str, str]:
    """Checksum of every file of a study but its journal and what is written last."""
    paths = sorted(
        path for path in folder.rglob("*") if path.is_file() and path.name not in (_JOURNAL, _DONE)
    )
    return {path.relative_to(folder).as_posix(): _sha256(path) for path in paths}


def _write_done(folder: Path, story: Story, inputs: str) -> None:
    done = {
        "headfit": __version__,
        "inputs": inputs,
        "command": story.command,
        "n_people": story.counts.n_people,
        "n_sets": story.counts.n_sets,
        "n_sets_used": story.counts.n_used,
        "findings": list(story.said),
        "sha256": _files(folder),
    }
    write_whole(folder / _DONE, json.dumps(done, indent=2, ensure_ascii=False) + "\n")


def _sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _check_output(folder: Path, dataset: str | Path | None) -> None:
    """Refuse a file, and a place where results would lie among what was given."""
    if folder.exists() and not folder.is_dir():
        raise InputError(
            sentence("the output", "be a folder", f"a file at {folder}", "choose another name"),
            code="not-a-folder",
            path=str(folder),
        )
    if dataset is not None and Path(dataset).resolve().is_relative_to(folder.resolve()):
        raise InputError(
            sentence(
                "the output",
                "lie apart from the dataset or below it",
                str(folder),
                "such as derivatives/headfit in the dataset",
            ),
            code="study-output",
        )
