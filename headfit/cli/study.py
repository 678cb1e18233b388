"""A whole study from a BIDS dataset: placement accuracy, repeatability, tables, figures, report.

Finds every person, session and run; takes tape readings from --tape TABLE (participant_id,
nasion_inion_cm, ...) or from participants.tsv; fits one head a person and holds all their marks
against it. Accuracy is claimed only for people with a tape sheet; for the others the folder tells
how consistent and how repeatable the marks are. Stopped and started again, it goes on where it was.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from headfit.cli.screen import Screen

if TYPE_CHECKING:
    from headfit.cohort.study import Progress


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what `headfit study` takes."""
    parser.add_argument(
        "dataset", metavar="DATASET", nargs="?", type=Path, help="folder of a BIDS dataset"
    )
    parser.add_argument(
        "-o", "--output", metavar="DIR", type=Path, required=True, help="folder to write"
    )
    parser.add_argument("--tape", metavar="TABLE", type=Path, help="tape readings, TSV or CSV")
    parser.add_argument("--system", metavar="NAME", default="10-20", help="of predicted positions")
    parser.add_argument(
        "--by", metavar="COLUMN", default="", help="compare groups, sites, raters or devices"
    )
    parser.add_argument(
        "--simulate", metavar="N", type=int, default=0, help="N invented people, for planning"
    )
    parser.add_argument("--seed", metavar="N", type=int, default=0, help="of the invented people")
    parser.add_argument("--workers", metavar="N", type=int, help="processes, else all processors")
    parser.add_argument(
        "--dask", metavar="ADDRESS", help="Dask scheduler, or local:N to start one with N workers"
    )


def run(arguments: argparse.Namespace, screen: Screen) -> int:
    """Run the study, say what was found."""
    import json

    from headfit.cohort.study import run_study

    with _bar(screen) as progress:
        run_study(
            arguments.dataset,
            arguments.output,
            tape=arguments.tape,
            system=arguments.system,
            by=arguments.by,
            simulate=arguments.simulate,
            seed=arguments.seed,
            workers=arguments.workers,
            dask=arguments.dask,
            progress=progress,
        )
    done = json.loads((arguments.output / "study.json").read_text(encoding="utf-8"))
    screen.listed(done["findings"])
    screen.say()
    screen.say(f"Wrote {arguments.output}/: report.html, tables/, figures/, pages/, methods.txt")
    screen.result({"folder": str(arguments.output), **done})
    return 0


@contextmanager
def _bar(screen: Screen) -> Iterator[Progress | None]:
    """A bar that tells what remains, on a terminal only."""
    if screen.as_json or not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, TextColumn, TimeRemainingColumn
    from rich.progress import Progress as Bar

    columns = (TextColumn("People"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Bar(*columns, console=Console(stderr=True)) as bar:
        task = bar.add_task("People", total=None)

        def progress(n_done: int, n_all: int) -> None:
            bar.update(task, completed=n_done, total=n_all)

        yield progress
