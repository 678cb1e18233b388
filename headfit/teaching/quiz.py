"""A quiz: heads to click on, names to tell, distances to guess, a misread tape to find. mm.

The heads are drawn from the shape prior of the age of a case, so that nobody learns one head by
heart; the first is the case's own where the shape model made it. Every answer is computed here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from headfit.anatomy.head import Head
from headfit.anatomy.sites import SYSTEMS, Sites, place_sites
from headfit.case.solved import SolvedCase
from headfit.errors import HeadfitError
from headfit.fitting.advice import advise
from headfit.fitting.fit import fit_head
from headfit.fitting.measurements import MEASUREMENTS
from headfit.fitting.measures import measure_head
from headfit.fitting.model_measures import measures_at
from headfit.fitting.shape import ShapeModel, shape_model
from headfit.fitting.spreads import site_axes
from headfit.fitting.tape import Tape
from headfit.geometry.mesh import Floats
from headfit.nouns import Noun
from headfit.planning.scalp_paths import scalp_paths
from headfit.teaching.worlds import laid_mm, normals_of

N_HEADS = 6
# Heads as they are met, not the rarest ones: a judgement, no source.
_SHARE_OF_SPREAD = 0.8
SITES = tuple(name for name in SYSTEMS["10-20"] if name not in ("A1", "A2"))
SHEET = (
    "nasion_inion",
    "preauricular_arc",
    "ring",
    "ear_arc_oz",
    "ear_arc_fpz",
    "frontal_row",
    "parietal_row",
)
# So far a reading is off: a slip of a hand or of an eye, no other arc.
_SLIPS_MM = (-40.0, -30.0, 30.0, 40.0)


@dataclass(frozen=True, eq=False)
class QuizSheet:
    """A sheet with one misread tape, cm.

    Attributes
    ----------
    titles : tuple of str
    readings_cm, usual_cm : tuple of float
        As they were read; on the average head of this age.
    misread : int
        Which one.
    right_cm : float
        What it should be.
    """

    titles: tuple[str, ...]
    readings_cm: tuple[float, ...]
    usual_cm: tuple[float, ...]
    misread: int
    right_cm: float


@dataclass(frozen=True, eq=False)
class QuizHead:
    """One head of the quiz.

    Attributes
    ----------
    label : str
    head : Head
    names : tuple of str
    points_mm, normals, along, across : (n, 3) float64
        Of the sites: where they are, out of the skin, along their arc and to its left.
    arcs : tuple of str
        Of each site.
    tapes_mm, tape_normals : dict of str to (k, 3) float64
        Each of these arcs.
    apart_cm : (n, n) float64
        Over the scalp.
    sheet : QuizSheet
    """

    label: str
    head: Head
    names: tuple[str, ...]
    points_mm: Floats
    normals: Floats
    along: Floats
    across: Floats
    arcs: tuple[str, ...]
    tapes_mm: dict[str, Floats]
    tape_normals: dict[str, Floats]
    apart_cm: Floats
    sheet: QuizSheet


@dataclass(frozen=True, eq=False, repr=False)
class Quiz(Noun):
    """Heads with their answers; all have the triangles of the first."""

    heads: tuple[QuizHead, ...]
    unit: str = "cm"  # in which lengths on a tape are told and typed
    old_names: bool = True  # told beside the new ones

    def __repr__(self) -> str:
        return f"Quiz({len(self.heads)} heads)"


def make_quiz(solved: SolvedCase, seed: int = 0, n_heads: int = N_HEADS) -> Quiz:
    """A quiz on the head of a case and on others of its age.

    Parameters
    ----------
    solved : SolvedCase
    seed : int
        Another one draws other heads.
    n_heads : int
    """
    generator = np.random.default_rng([17, seed])
    model = shape_model(solved.case.age, solved.case.sex)
    heads = [] if solved.fitted is None else [_quiz_head(solved, solved.head, generator)]
    while len(heads) < n_heads:
        drawn = _drawn(model, generator)
        label = f"head {len(heads) + 1}, drawn by chance"
        heads.append(_quiz_head(solved, drawn, generator, label))
    return Quiz(tuple(heads), solved.case.unit, solved.case.old_names)


def _drawn(model: ShapeModel, generator: np.random.Generator) -> Head:
    root = np.linalg.cholesky(model.prior.covariance)
    away = generator.normal(size=model.n_parameters)
    parameters = model.prior.mean + _SHARE_OF_SPREAD * root @ away
    return model.head(parameters, model.template.label).in_own_frame()


def _quiz_head(
    solved: SolvedCase, head: Head, generator: np.random.Generator, label: str = ""
) -> QuizHead:
    sites = place_sites(head, SITES, solved.case.rules)
    along, across = site_axes(sites)
    arcs = tuple(found[0] for name in SITES if (found := sites.arc_of(name)) is not None)
    tapes = {arc: laid_mm(sites.tracer.run(arc)) for arc in dict.fromkeys(arcs)}
    normals = {arc: normals_of(sites.tracer.mesh, tape) for arc, tape in tapes.items()}
    return QuizHead(
        label or solved.case.label,
        head,
        SITES,
        sites.points_mm,
        sites.normals,
        along,
        across,
        arcs,
        tapes,
        normals,
        _apart_cm(sites),
        _sheet(solved, head, generator),
    )


def _apart_cm(sites: Sites) -> Floats:
    first, second = np.triu_indices(len(sites), 1)
    pairs = list(zip(sites.points_mm[first], sites.points_mm[second], strict=True))
    apart = np.zeros((len(sites), len(sites)))
    lengths = [run.length_mm / 10 for run in scalp_paths(sites.tracer, pairs)]
    apart[first, second] = apart[second, first] = lengths
    return apart


def _sheet(solved: SolvedCase, head: Head, generator: np.random.Generator) -> QuizSheet:
    """A sheet in which one reading is off so that headfit itself doubts that one first."""
    taken = measure_head(head).values_mm
    right = {name: round(taken[name]) for name in SHEET}
    order = generator.permutation(len(SHEET) * len(_SLIPS_MM)).tolist()
    for turn in order:
        at, slip = divmod(turn, len(_SLIPS_MM))
        name = SHEET[at]
        readings = {**right, name: right[name] + _SLIPS_MM[slip]}
        if _doubted(solved, readings) == name:
            break
    titles = tuple(MEASUREMENTS[each].title for each in SHEET)
    found = tuple(readings[each] / 10 for each in SHEET)
    model = shape_model(solved.case.age, solved.case.sex)
    usual = measures_at(model, model.prior.mean).values_mm(SHEET) / 10
    return QuizSheet(titles, found, tuple(usual.tolist()), at, right[name] / 10)


def _doubted(solved: SolvedCase, readings: dict[str, float]) -> str:
    try:
        tape = Tape(**{f"{name}_mm": value for name, value in readings.items()})  # type: ignore[arg-type]
        advice = advise(fit_head(tape, solved.case.age, sex=solved.case.sex))
    except HeadfitError:  # no head at all has this sheet
        return ""
    return advice.doubts[0].name if advice.doubts else ""
