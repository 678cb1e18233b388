"""Causes of the messages of a whole study."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from causes_of_marks import Cause, wrote
from invented_dataset import write_dataset

from headfit.case.case import Case
from headfit.cohort.person_row import on_one_head
from headfit.cohort.power import people_needed
from headfit.cohort.study import run_study
from headfit.cohort.workers import solved_people
from headfit.files.bids_dataset import find_marks_files
from headfit.files.row_table import read_rows
from headfit.files.tape_table import read_tape_table, tape_of_rows
from headfit.marks.marks import Marks


def empty_dataset() -> object:
    Path("study").mkdir()
    return find_marks_files("study")


def in_itself() -> object:
    return run_study(write_dataset(Path("study"), 1), "study")


CAUSES_OF_STUDIES: dict[str, Cause] = {
    "table-broken": lambda: read_rows(wrote("participants.tsv", "age\tage\n1\t2\n")),
    "dataset-missing": lambda: find_marks_files("study"),
    "dataset-empty": empty_dataset,
    "tape-table-columns": lambda: read_tape_table(
        wrote("tapes.tsv", "participant_id\tring\nsub-01\t56.4\n")
    ),
    "tape-table-cell": lambda: tape_of_rows([{"ring_cm": "56,4"}]),
    "study-no-head": lambda: on_one_head(
        Case(label="sub-01"), [Marks(("Cz", "Pz"), np.eye(3)[:2])], None
    ),
    "study-of-what": lambda: run_study(None, "out"),
    "study-output": in_itself,
    "dask-address": lambda: list(solved_people([], "10-20", dask="local:none")),
    "power-lengths": lambda: people_needed(2.0, 0.0),
}
