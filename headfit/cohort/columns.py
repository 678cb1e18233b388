"""The tidy tables of a study: every column with what it means and its unit.

Two frames stand side by side everywhere. ``landmarks``: marks laid on the head by nasion and
preauricular points, as the work was done; a slip of the whole set is in it, and so is the error of
the landmarks. ``fit``: what is left when the common part of the set is taken off; single marks.
"""

from __future__ import annotations

from headfit.files.parquet import Column

FRAMES = ("landmarks", "fit")
AXES = ("along", "across")
CLAIMS = {
    "accuracy": "held against a head that was measured by tape or scan",
    "consistency": "held against a head found under the same marks: no accuracy",
}

_PERSON = Column("person", "Label of the person.", "text")
_SITE = Column("site", "Name of the site.", "text")
_SET = (
    _PERSON,
    Column("session", "Label of the session.", "text"),
    Column("run", "Label of the run.", "text"),
    Column("acquisition", "Label acq of the file.", "text"),
    Column("level", "What the chosen column says of this set of marks.", "text"),
)
_CLAIM = Column(
    "claim", "; ".join(f"{name}: {words}" for name, words in CLAIMS.items()) + ".", "text"
)
_FRAME = Column(
    "frame",
    "landmarks: as laid on the head by nasion and preauricular points (the only set of a person "
    "without tape: as posed together with the head that was found under it); fit: after the common "
    "part of the set (turn, slide, height) is taken off.",
    "text",
)
_AXIS = Column(
    "axis",
    "along: over the scalp along the arc of the site, away from its start; across: to the left of "
    "that seen from outside.",
    "text",
)


def _mm(name: str, description: str) -> Column:
    return Column(name, description, "number", "mm")


def _estimate(name: str, description: str, unit: str = "mm") -> tuple[Column, ...]:
    return (
        Column(name, description, "number", unit),
        Column(f"{name}_low", f"Lower end of the 95 % interval of {name}.", "number", unit),
        Column(f"{name}_high", f"Upper end of the 95 % interval of {name}.", "number", unit),
    )


MARKS = (
    *_SET,
    _CLAIM,
    _SITE,
    *(
        _mm(f"{frame}_{axis}_mm", f"Deviation {axis} the arc of the site, frame {frame}.")
        for frame in FRAMES
        for axis in AXES
    ),
    _mm("uncertainty_mm", "How far the site itself may lie elsewhere (95 %); 0 when not known."),
    Column("stands_out", "Off on its own, not with the set.", "truth"),
    Column("mixed_up", "The name seems to have changed places with another.", "truth"),
    Column("used", "Counts in the statistics; if not, exclusions.tsv tells why.", "truth"),
)

_PARTS = {
    "pitch": ("Turn about the axis to the right: positive lifts the front", "deg"),
    "roll": ("Turn about the axis to the nose: positive leans to the right", "deg"),
    "yaw": ("Turn about the axis upwards: positive turns the front to the left", "deg"),
    "right": ("Slide to the right", "mm"),
    "front": ("Slide to the front", "mm"),
    "up": ("Slide upwards", "mm"),
}
COMMON_UNITS = {name: unit for name, (_, unit) in _PARTS.items()}

SETS = (
    *_SET,
    _CLAIM,
    Column("file", "Name of the file of marks.", "text"),
    Column("aligned_by", "How the marks were laid on the head.", "text"),
    Column("n_marks", "Marks compared and used."),
    _mm("landmarks_mm", "Mean distance over the scalp from the sites, frame landmarks."),
    _mm("fit_mm", "The same, frame fit."),
    *(
        column
        for name, (words, unit) in _PARTS.items()
        for column in (
            Column(name, f"Common part of the set. {words}.", "number", unit),
            Column(f"{name}_se", f"Standard error of {name}.", "number", unit),
        )
    ),
    Column("n_stands_out", "Marks that are off on their own."),
    Column("n_mixed_up", "Marks whose names look mixed up."),
    Column("used", "Counts in the statistics; if not, exclusions.tsv tells why.", "truth"),
    Column("verdict", "The comparison in one sentence.", "text"),
    Column("doubts", "What was corrected or is doubtful.", "text"),
)

PEOPLE = (
    _PERSON,
    Column("age", "Age as the dataset states it.", "number", "year"),
    Column("sex", "Sex as the dataset states it.", "text"),
    Column("child", "Known to be younger than 18 years.", "truth"),
    Column("in_prior", "Belongs to a dataset the shape prior was made from.", "truth"),
    Column("invented", "Simulated: no real person.", "truth"),
    Column("head_from", "What the head was found from: tape, scan or marks.", "text"),
    _CLAIM,
    Column("n_measurements", "Tape and caliper values of the sheet."),
    Column("n_sets", "Sets of marks used."),
    _mm("repeat_landmarks_mm", "Median distance between sessions, frame landmarks."),
    _mm("repeat_fit_mm", "Median distance between sessions after a best fit."),
    Column("problem", "Why there is no head.", "text"),
)

POSITIONS = (
    _PERSON,
    _SITE,
    *(
        _mm(
            f"{axis}_mm",
            "Predicted position, head frame: +x right, +y nasion, +z up, origin "
            "midway between the preauricular points.",
        )
        for axis in "xyz"
    ),
    _mm("sure_mm", "Longer half axis of the ellipse that holds the site with 95 % probability."),
)

EXCLUSIONS = (
    *_SET[:3],
    Column("what", "What takes no part: person, file, set, mark, age, sheet.", "text"),
    Column("reason", "Why.", "text"),
)

TRUTH = (
    _PERSON,
    *(
        Column(name, f"True common part. {words}.", "number", unit)
        for name, (words, unit) in _PARTS.items()
    ),
    Column("off", "Mark that was put down 15 mm off.", "text"),
    Column("exchanged", "Names that were exchanged.", "text"),
)

SITES = (
    _CLAIM,
    _FRAME,
    _SITE,
    Column("n_people", "People with this site; a person's sets are averaged first."),
    *_estimate("along_mm", "Mean signed deviation along the arc."),
    *_estimate("across_mm", "Mean signed deviation across the arc."),
    _mm("along_sd_mm", "SD between people, along."),
    _mm("across_sd_mm", "SD between people, across."),
    *_estimate("size_mm", "Mean distance from the site over the scalp."),
    _mm("median_mm", "Median of that distance."),
    _mm("major_mm", "Longer half axis of the ellipse that holds the next person's mark with 95 %."),
    _mm("minor_mm", "Shorter half axis of that ellipse."),
    Column("angle_deg", "From along towards across to the longer axis.", "number", "deg"),
)

REPEATS = (
    Column(
        "repeated_over", "What repeats are told apart by: session, or the chosen column.", "text"
    ),
    _FRAME,
    _AXIS,
    _SITE,
    Column("n_people", "People measured as often as told in n_repeats."),
    Column("n_repeats", "Repeats of each of them that enter ICC and limits."),
    *_estimate("within_sd_mm", "SD of one measurement of one person (Bland and Altman 1996)."),
    *_estimate(
        "icc_2_1",
        "ICC(2,1): absolute agreement of single measurements, repeats a random "
        "sample (Shrout and Fleiss 1979).",
        "",
    ),
    *_estimate("icc_3_1", "ICC(3,1): consistency of single measurements, repeats fixed.", ""),
    *_estimate("bias_mm", "Mean of second less first repeat (Bland and Altman 1986)."),
    *_estimate("lower_mm", "Lower limit of agreement."),
    *_estimate("upper_mm", "Upper limit of agreement."),
)

COMMON = (
    _CLAIM,
    Column("part", "Part of the motion that a whole set shares.", "text"),
    Column("unit", "Degrees or millimetres.", "text"),
    Column("n_people", "People; their sets are averaged first."),
    *_estimate("mean", "Mean over people.", ""),
    Column("sd", "SD between people."),
    Column("mean_se", "Mean standard error of one set."),
    *_estimate("within_sd", "SD of one set of one person, from repeats.", ""),
)

GROUPS = (
    _CLAIM,
    _FRAME,
    Column("column", "The chosen column.", "text"),
    Column("level", "A value of it.", "text"),
    Column("n_people", "People with this value."),
    *_estimate("size_mm", "Mean distance from the sites over the scalp, one value a person."),
    _mm("sd_mm", "SD between people."),
    *_estimate("difference_mm", "Against the first level."),
    Column("method", "How the difference was found.", "text"),
)

OUTLIERS = (
    _PERSON,
    _FRAME,
    Column("measure", "distance: of the marks from their sites; repeat: between sessions.", "text"),
    _mm("size_mm", "The person's value."),
    Column(
        "score",
        "Modified z: 0.6745 times the distance from the median over the median of such distances "
        "(Iglewicz and Hoaglin 1993).",
    ),
    Column("reason", "In words.", "text"),
)

POWER = (
    _FRAME,
    Column("measure", "What is compared.", "text"),
    _mm("difference_mm", "True difference to be seen."),
    _mm("sd_mm", "SD between people."),
    Column("people_each_of_two_groups", "For a power of 0.8 at 0.05, two-sided t test."),
    _mm("sd_of_difference_mm", "SD of a person's difference between two sets, from repeats."),
    Column("people_measured_twice", "The same for a paired t test."),
)

TABLES = {
    "people": PEOPLE,
    "sets": SETS,
    "marks": MARKS,
    "positions": POSITIONS,
    "exclusions": EXCLUSIONS,
    "truth": TRUTH,
    "sites": SITES,
    "repeats": REPEATS,
    "common": COMMON,
    "groups": GROUPS,
    "outliers": OUTLIERS,
    "power": POWER,
}
