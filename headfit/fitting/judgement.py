"""What is said of a fitted shape that is far from all known heads, and when it is refused."""

from __future__ import annotations

import numpy as np

from headfit.anatomy.template import age_in_months, template_set
from headfit.errors import SheetError, sentence
from headfit.fitting.estimate import Estimate
from headfit.fitting.hand_set_shape import HAND_MODES
from headfit.fitting.measurements import MEASUREMENTS
from headfit.fitting.model_measures import at_prior_mean
from headfit.fitting.outlying_readings import likeliest_slips
from headfit.fitting.shape import ShapeModel, parameter_kinds, parameter_names
from headfit.fitting.tape import Tape
from headfit.geometry.mesh import Floats

# A shape this many standard deviations from the mean is flagged, or refused.
FLAG_SD, REFUSE_SD = 4.0, 8.0
# A landmark is felt, not read off, so that it is flagged sooner: when its place, of which the sheet
# tells at least this share of the variance, lies so far off as one sheet in a hundred has it.
LANDMARK_FLAG_SD, LANDMARK_TOLD = 2.5, 0.5


def no_such_head(
    model: ShapeModel, tape: Tape, age: str | float, finding: str, **facts: object
) -> SheetError:
    """The refusal of values no head of the age has: a wrong age, or the reading to take again."""
    names = tuple(tape.values_mm)
    readings = np.array(list(tape.values_mm.values()))
    size = float(np.median(readings / at_prior_mean(model).at(names)[0]))
    by_age = sorted(template_set().ages.values())
    months, _, circumferences = zip(*by_age, strict=True)
    around = float(np.interp(age_in_months(age), months, circumferences))
    _, label, _ = min(by_age, key=lambda stored: abs(stored[2] - size * around))
    own = min(by_age, key=lambda stored: abs(stored[2] - around))[1]
    worst = next(iter(likeliest_slips(model, tape)), None)
    other_age = f"values of this size belong to {label.split(',')[0]}: is the age right?"
    if label != own and (worst is None or abs(np.log(size)) > 0.1):
        hint = other_age
    elif worst is None:
        hint = f"take the {MEASUREMENTS[names[0]].title} again"
    else:
        hint = worst.sentence.partition(" (")[0].rstrip(".")
    return SheetError(
        sentence("a measurement sheet", f"describe a head of the age given ({age})", finding, hint),
        code="sheet-no-head",
        **facts,
    )


# What a person calls the parameters that are no modes of the vault, by how their names begin.
_PLAIN = {
    "scale_x": "breadth",
    "scale_y": "length",
    "scale_z": "height",
    "nasion": "place of the nasion",
    "inion": "place of the inion",
    "ears": "place of the preauricular points",
}


def _in_words(name: str, sign: float) -> str:
    """A parameter as a person says it.

    >>> _in_words("ears_y", 1.0), _in_words("vault_2_m1", -1.0)
    ('the place of the preauricular points', 'the shape (one side higher: left)')
    """
    if name in HAND_MODES:
        mode = HAND_MODES[name]
        return f"the shape ({mode.title}: {mode.above if sign > 0 else mode.below})"
    return "the " + next(plain for start, plain in _PLAIN.items() if name.startswith(start))


def judged(model: ShapeModel, estimate: Estimate, tape: Tape, age: str | float) -> tuple[str, ...]:
    """Sentences on a shape far from all known heads; one impossibly far is refused."""
    away = (estimate.parameters - model.prior.mean) / model.prior.spread
    worst = int(np.abs(away).argmax())
    if abs(away[worst]) <= FLAG_SD:
        return _unlikely_landmark(model, estimate)
    name = parameter_names()[worst]
    finding = (
        f"{_in_words(name, away[worst])} is such as fewer than one head of that age in ten "
        "thousand has"
    )
    if abs(away[worst]) > REFUSE_SD:
        raise no_such_head(
            model, tape, age, f"one of which {finding}", parameter=name, away_sd=float(away[worst])
        )
    if folds(model, estimate.parameters):
        raise no_such_head(model, tape, age, "one whose skin folds over itself")
    # Which reading to take again is said with the advice.
    return (f"Unusual head: {finding}. Are the readings and the age right?",)


def folds(model: ShapeModel, parameters: Floats) -> bool:
    """Whether a triangle of the scalp faces back from where it faces on the template.

    On a head they turn by far less.
    """
    usual = model.template.scalp
    now = usual.moved(model.vertices_mm(parameters))
    return bool((np.einsum("ij,ij->i", usual.double_areas, now.double_areas) < 0).any())


def _unlikely_landmark(model: ShapeModel, estimate: Estimate) -> tuple[str, ...]:
    """The landmark that lies where few heads have it, when the sheet tells where it lies."""
    marks = np.array([kind == "landmark" for kind in parameter_kinds()])
    variance = model.prior.spread**2
    told = 1.0 - np.diag(estimate.covariance) / variance
    away = (estimate.parameters - model.prior.mean) / np.sqrt(variance * np.maximum(told, 1e-9))
    away = np.where(marks & (told > LANDMARK_TOLD), away, 0.0)
    worst = int(np.abs(away).argmax())
    if abs(away[worst]) <= LANDMARK_FLAG_SD:
        return ()
    place = _in_words(parameter_names()[worst], away[worst])
    landmark = place.removeprefix("the place of ")
    off_cm = abs(estimate.parameters[worst] - model.prior.mean[worst]) / 10
    said = f"Doubtful landmark: {place} lies {off_cm:.1f} cm from where most heads have it."
    return (f"{said} Feel for {landmark} again.",)
