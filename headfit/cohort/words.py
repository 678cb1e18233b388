"""What a study says in sentences: what was found, and how it was done, ready for a paper."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from headfit import __version__
from headfit.anatomy.arcs import Rules
from headfit.cohort.agreement import Estimate, mean_with_interval
from headfit.cohort.columns import CLAIMS, FRAMES
from headfit.cohort.people import Cohort
from headfit.cohort.simulated import MARK_SD_MM, SLIDE_SD_MM, TURN_SD_DEGREES
from headfit.cohort.statistics import Row
from headfit.files.parquet import read_columns
from headfit.output.sheet import rules_words


@dataclass(frozen=True)
class Counts:
    """How many people and sets there are, and of which kind."""

    n_people: int
    n_sets: int
    n_used: int
    n_children: int
    n_no_head: int
    heads_from: Mapping[str, int]
    sizes: Mapping[tuple[str, str], Estimate] = field(default_factory=dict)
    n_sized: Mapping[tuple[str, str], int] = field(default_factory=dict)


def counted(tables: Path) -> Counts:
    """The counts of the written tables, and the mean size by claim and frame."""
    people = read_columns(tables / "people.parquet", ["head_from", "child"])
    columns = ["person", "claim", "used", *(f"{frame}_mm" for frame in FRAMES)]
    sets = read_columns(tables / "sets.parquet", columns)
    sizes, n_sized = {}, {}
    for claim in sorted(set(sets["claim"]) - {""}):
        for frame in FRAMES:
            values = sets[f"{frame}_mm"]
            rows = sets["used"] & (sets["claim"] == claim) & np.isfinite(values)
            if rows.any():
                _, who = np.unique(sets["person"][rows].astype(str), return_inverse=True)
                means = np.bincount(who, values[rows]) / np.bincount(who)
                sizes[claim, frame] = mean_with_interval(means)
                n_sized[claim, frame] = len(means)
    heads = Counter(people["head_from"].tolist())
    return Counts(
        len(people["child"]),
        len(sets["used"]),
        int(sets["used"].sum()),
        int(people["child"].sum()),
        heads.pop("", 0),
        dict(sorted(heads.items())),
        sizes,
        n_sized,
    )


def findings(cohort: Cohort, counts: Counts, rows: Mapping[str, Sequence[Row]]) -> list[str]:
    """The findings of a study, the main thing first."""
    invented = any(person.invented for person in cohort.people[:1])
    said = [
        "Every person in here is invented: drawn by a computer, for planning." if invented else "",
        _who(counts),
        *(_size_sentence(claim, counts) for claim in CLAIMS),
        "" if counts.heads_from.keys() & {"tape", "scan"} else _NO_HEAD,
        _repeats(counts, rows["repeats"]),
        _prior(cohort),
        _children(counts),
        _outliers(rows["outliers"]),
        *(_power(row) for row in rows["power"] if str(row["measure"]).startswith("signed")),
    ]
    return [sentence for sentence in said if sentence]


_NO_HEAD = (
    "No head was measured by tape or scan: how accurate the marks are cannot be told from marks "
    "alone. What is given is how consistent they are with a head found under them."
)


def _who(counts: Counts) -> str:
    heads = ", ".join(f"{n} from {word}" for word, n in counts.heads_from.items()) or "none"
    without = f", {counts.n_no_head} without a head" if counts.n_no_head else ""
    why = "" if counts.n_used == counts.n_sets else "; exclusions.tsv tells why the others do not"
    return (
        f"{_many(counts.n_people, 'person', 'people')}; heads: {heads}{without}. {counts.n_used} "
        f"of {_many(counts.n_sets, 'set', 'sets')} of marks count{why}."
    )


def _repeats(counts: Counts, rows: Sequence[Row]) -> str:
    within = [row for row in rows if row["repeated_over"] == "session"]
    if not within:
        nobody = "Nobody has a second set of marks: repeatability cannot be told."
        return nobody if counts.n_used else ""
    told = ", ".join(
        f"{_median([row['within_sd_mm'] for row in within if row['frame'] == frame]):.1f} mm {how}"
        for frame, how in _HOW.items()
    )
    return f"Repeats: the SD of one measurement of one person is {told} (middle site and axis)."


def _prior(cohort: Cohort) -> str:
    if not cohort.in_prior:
        return ""
    return (
        f"The shape prior of headfit was made from heads of {cohort.in_prior}, this dataset: heads "
        "found here are no independent test of it."
    )


def _children(counts: Counts) -> str:
    if not counts.n_children:
        return ""
    return (
        f"{_many(counts.n_children, 'child', 'children')} under 18: the head is the adult model "
        "scaled to growth norms, illustrative only."
    )


def _outliers(rows: Sequence[Row]) -> str:
    n = len({row["person"] for row in rows})
    return f"{_many(n, 'person stands', 'people stand')} out from the others." if n else ""


def _power(row: Row) -> str:
    if row["people_each_of_two_groups"] is None:
        return ""
    return (
        f"To see a difference of {row['difference_mm']:g} mm in the {row['measure']}, "
        f"{_HOW[str(row['frame'])]}, take {row['people_each_of_two_groups']} people in each of two "
        "groups (power 0.8 at 0.05)."
    )


_HOW = {"landmarks": "by the landmarks", "fit": "after the common part is taken off"}


def _size_sentence(claim: str, counts: Counts) -> str:
    parts = [
        f"{found.value:.1f} mm {how} ({_interval(found)}"
        f"{_many(counts.n_sized[claim, frame], 'person', 'people')})"
        for frame, how in _HOW.items()
        if (found := counts.sizes.get((claim, frame))) is not None
    ]
    if not parts:
        return ""
    against = "measured heads" if claim == "accuracy" else "heads found under the same marks"
    return f"{claim.capitalize()}: marks lie from their sites on {against} {'; '.join(parts)}."


def _interval(found: Estimate) -> str:
    """In front of the number of people; nothing where one person alone has none."""
    return f"95 % interval {found.low:.1f} to {found.high:.1f}, " if np.isfinite(found.low) else ""


def methods(cohort: Cohort, counts: Counts, system: str, checksum: str) -> str:
    """The paragraph for a paper: numbers, rules, versions, checksums."""
    heads = ", ".join(f"{word} ({n})" for word, n in counts.heads_from.items()) or "none"
    return " ".join(
        [
            f"{_source(cohort, counts)}; {counts.n_used} sets count, the others are listed with",
            f"their reason. One head a person was fitted, from: {heads}. Sites ({system}:",
            "predicted positions; marks: the sites they name) were placed by headfit",
            f"{__version__} ({rules_words(Rules()).removeprefix('Rules: ')}).",
            f"{_METHODS}{_by_words(cohort.by)} Inputs, rules and",
            f"version have the SHA-256 checksum {checksum}.\n",
        ]
    )


_METHODS = (
    "A deviation is the step over the scalp from a site to the foot of its mark, along the arc of "
    "the site and across it. It is given in two frames: with the marks laid on the head by nasion "
    "and preauricular points, and after the motion common to the whole set (turn, slide, height; "
    "robust fit) is taken off. Marks whose names look exchanged are left out, single marks that "
    "stand out are kept. Sets of one person were averaged first, so that a person counts once. "
    "Means have Student's 95 % intervals; ellipses hold the next person's mark with 95 % "
    "probability (Chew 1966). Repeats are described by the within-person SD (Bland and Altman "
    "1996), the intraclass correlations ICC(2,1) and ICC(3,1) (Shrout and Fleiss 1979; intervals "
    "by McGraw and Wong 1996) and 95 % limits of agreement (Bland and Altman 1986), per site and "
    "axis. Outlying people have a modified z beyond 3.5 (Iglewicz and Hoaglin 1993) and are kept."
)


def _source(cohort: Cohort, counts: Counts) -> str:
    if any(person.invented for person in cohort.people[:1]):
        return (
            f"{counts.n_people} invented people were drawn from the shape prior (marks: SD "
            f"{MARK_SD_MM:g} mm an axis; sets slid by SD {SLIDE_SD_MM:g} mm and turned by SD "
            f"{TURN_SD_DEGREES:g} degrees an axis)"
        )
    return (
        f"Digitised positions of {_many(counts.n_people, 'person', 'people')} "
        f"({_many(counts.n_sets, 'set', 'sets')}) were read from the BIDS dataset '{cohort.name}'"
    )


def _by_words(by: str) -> str:
    if not by:
        return ""
    return (
        f" Sets were told apart by the column '{by}': by Welch's t test where people differ in it, "
        "by a mixed model with a random person (restricted maximum likelihood) where the same "
        "people went through its levels."
    )


def _many(n: int, one: str, more: str) -> str:
    return f"{n} {one if n == 1 else more}"


def _median(values: Sequence[object]) -> float:
    known = [float(v) for v in values if isinstance(v, int | float) and np.isfinite(v)]
    return float(np.median(known)) if known else float("nan")
