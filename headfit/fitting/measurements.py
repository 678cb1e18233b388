"""Every measurement of a head: its title, how it is taken, and how well. Millimetres.

`MEASUREMENTS` is the whole list, with one line on how each is taken; `GROUPS` the order in which a
form asks for them. Two rings are kept apart because they are different tapes: the 10 % ring runs
through Fpz, T7, Oz and T8; the largest circumference runs over glabella and occiput. On ten real
adult heads that was 0.3 % longer (-0.4 to +1.0 %), so that their lengths do not tell which of them
was taken.
"""

from __future__ import annotations

from dataclasses import dataclass

from headfit.errors import unknown_name


@dataclass(frozen=True)
class Measurement:
    """One kind of measurement.

    Attributes
    ----------
    name : str
        The keyword of `Tape` without ``_mm``.
    title : str
        As said to a person.
    how : str
        How it is taken, one line.
    tool : {"tape", "caliper"}
    spread_mm : float
        Standard deviation of one reading.
    lowest_mm, highest_mm : float
        Beyond these no human head lies, from a newborn to the largest adult; wide on purpose.
    arcs : tuple of str
        Arcs of `headfit.anatomy.arcs` whose whole length it is; empty for all others.
    """

    name: str
    title: str
    how: str
    tool: str
    spread_mm: float
    lowest_mm: float
    highest_mm: float
    arcs: tuple[str, ...] = ()

    @property
    def group(self) -> str:
        """The title in `GROUPS` under which a form asks for it."""
        return next(title for title, names in GROUPS.items() if self.name in names)


# Spreads: 2 mm for one tape reading by a trained person, 3 mm for a closed ring (two halves),
# 1.5 mm for a caliper, 3 mm for a height; the values the shape prior was made with, a judgement.
_TAPE, _RING, _CALIPER, _HEIGHT = 2.0, 3.0, 1.5, 3.0

MEASUREMENTS: dict[str, Measurement] = {
    m.name: m
    for m in (
        Measurement(
            "nasion_inion",
            "nasion-inion arc",
            "tape from nasion over the vertex to inion, in the midline",
            "tape",
            _TAPE,
            150,
            480,
            arcs=("midline",),
        ),
        Measurement(
            "preauricular_arc",
            "preauricular arc",
            "tape from the left preauricular point over Cz to the right one",
            "tape",
            _TAPE,
            150,
            480,
            arcs=("coronal",),
        ),
        Measurement(
            "ring",
            "10 % ring",
            "tape round the head through Fpz, T7, Oz and T8",
            "tape",
            _RING,
            250,
            700,
            arcs=("left ring", "right ring"),
        ),
        Measurement(
            "largest_circumference",
            "largest circumference",
            "tape round the head over glabella and the most prominent occiput",
            "tape",
            _RING,
            250,
            700,
        ),
        Measurement(
            "frontal_row",
            "frontal row F7-Fz-F8",
            "tape from F7 over Fz to F8",
            "tape",
            _TAPE,
            80,
            340,
            arcs=("row F",),
        ),
        Measurement(
            "parietal_row",
            "parietal row P7-Pz-P8",
            "tape from P7 over Pz to P8",
            "tape",
            _TAPE,
            80,
            340,
            arcs=("row P",),
        ),
        Measurement(
            "left_parasagittal",
            "left parasagittal arc Fp1-C3-O1",
            "tape from Fp1 over C3 to O1",
            "tape",
            _TAPE,
            100,
            400,
            arcs=("left parasagittal",),
        ),
        Measurement(
            "right_parasagittal",
            "right parasagittal arc Fp2-C4-O2",
            "tape from Fp2 over C4 to O2",
            "tape",
            _TAPE,
            100,
            400,
            arcs=("right parasagittal",),
        ),
        Measurement(
            "left_ring_front",
            "left front ring quarter Fpz-T7",
            "along the ring from Fpz to T7",
            "tape",
            _TAPE,
            50,
            220,
        ),
        Measurement(
            "left_ring_back",
            "left back ring quarter T7-Oz",
            "along the ring from T7 to Oz",
            "tape",
            _TAPE,
            50,
            220,
        ),
        Measurement(
            "right_ring_front",
            "right front ring quarter Fpz-T8",
            "along the ring from Fpz to T8",
            "tape",
            _TAPE,
            50,
            220,
        ),
        Measurement(
            "right_ring_back",
            "right back ring quarter T8-Oz",
            "along the ring from T8 to Oz",
            "tape",
            _TAPE,
            50,
            220,
        ),
        Measurement(
            "left_ring",
            "left half ring Fpz-T7-Oz",
            "along the ring from Fpz over T7 to Oz",
            "tape",
            _TAPE,
            120,
            360,
            arcs=("left ring",),
        ),
        Measurement(
            "right_ring",
            "right half ring Fpz-T8-Oz",
            "along the ring from Fpz over T8 to Oz",
            "tape",
            _TAPE,
            120,
            360,
            arcs=("right ring",),
        ),
        Measurement(
            "nasion_cz",
            "half arc nasion-Cz",
            "along the midline from nasion to Cz",
            "tape",
            _TAPE,
            75,
            240,
        ),
        Measurement(
            "cz_inion",
            "half arc Cz-inion",
            "along the midline from Cz to inion",
            "tape",
            _TAPE,
            75,
            240,
        ),
        Measurement(
            "ear_arc_fpz",
            "ear-to-ear arc over Fpz",
            "tape from one preauricular point over Fpz to the other",
            "tape",
            _TAPE,
            130,
            420,
            arcs=("ear to ear over Fpz",),
        ),
        Measurement(
            "ear_arc_fz",
            "ear-to-ear arc over Fz",
            "tape from one preauricular point over Fz to the other",
            "tape",
            _TAPE,
            140,
            450,
            arcs=("ear to ear over Fz",),
        ),
        Measurement(
            "ear_arc_pz",
            "ear-to-ear arc over Pz",
            "tape from one preauricular point over Pz to the other",
            "tape",
            _TAPE,
            140,
            450,
            arcs=("ear to ear over Pz",),
        ),
        Measurement(
            "ear_arc_oz",
            "ear-to-ear arc over Oz",
            "tape from one preauricular point round the back over Oz to the other",
            "tape",
            _TAPE,
            120,
            400,
            arcs=("ear to ear over Oz",),
        ),
        Measurement(
            "head_length",
            "head length",
            "caliper from glabella to the farthest point of the occiput in the midline",
            "caliper",
            _CALIPER,
            80,
            250,
        ),
        Measurement(
            "head_breadth",
            "head breadth",
            "caliper at the widest place above the ears, square to the midline",
            "caliper",
            _CALIPER,
            60,
            200,
        ),
        Measurement(
            "preauricular_width",
            "preauricular width",
            "caliper from one preauricular point straight to the other",
            "caliper",
            _CALIPER,
            50,
            190,
        ),
        Measurement(
            "nasion_inion_chord",
            "nasion-inion chord",
            "caliper from nasion straight to inion",
            "caliper",
            _CALIPER,
            70,
            240,
        ),
        Measurement(
            "left_preauricular_nasion_chord",
            "left preauricular-nasion chord",
            "caliper from the left preauricular point straight to the nasion",
            "caliper",
            _CALIPER,
            45,
            180,
        ),
        Measurement(
            "right_preauricular_nasion_chord",
            "right preauricular-nasion chord",
            "caliper from the right preauricular point straight to the nasion",
            "caliper",
            _CALIPER,
            45,
            180,
        ),
        Measurement(
            "left_preauricular_inion_chord",
            "left preauricular-inion chord",
            "caliper from the left preauricular point straight to the inion",
            "caliper",
            _CALIPER,
            45,
            200,
        ),
        Measurement(
            "right_preauricular_inion_chord",
            "right preauricular-inion chord",
            "caliper from the right preauricular point straight to the inion",
            "caliper",
            _CALIPER,
            45,
            200,
        ),
        Measurement(
            "left_diagonal",
            "left front to right back diagonal",
            "caliper 30 degrees off the midline, from the left forehead to the right back",
            "caliper",
            _CALIPER,
            70,
            240,
        ),
        Measurement(
            "right_diagonal",
            "right front to left back diagonal",
            "caliper 30 degrees off the midline, from the right forehead to the left back",
            "caliper",
            _CALIPER,
            70,
            240,
        ),
        Measurement(
            "cz_height",
            "height of Cz",
            "square from Cz to the plane of nasion and preauricular points",
            "caliper",
            _HEIGHT,
            50,
            190,
        ),
    )
}

# A form in parts: what is measured first, then what sharpens the picture; the most helpful first.
GROUPS: dict[str, tuple[str, ...]] = {
    "Start with these": ("nasion_inion", "preauricular_arc", "ring"),
    "These help most": ("ear_arc_oz", "head_breadth", "head_length", "largest_circumference"),
    "Rows and parasagittal arcs": (
        "frontal_row",
        "parietal_row",
        "left_parasagittal",
        "right_parasagittal",
    ),
    "Ear-to-ear arcs": ("ear_arc_fpz", "ear_arc_fz", "ear_arc_pz"),
    "Halves, left and right": (
        "nasion_cz",
        "cz_inion",
        "left_ring",
        "right_ring",
        "left_ring_front",
        "left_ring_back",
        "right_ring_front",
        "right_ring_back",
    ),
    "Calipers": (
        "preauricular_width",
        "nasion_inion_chord",
        "left_preauricular_nasion_chord",
        "right_preauricular_nasion_chord",
        "left_preauricular_inion_chord",
        "right_preauricular_inion_chord",
        "left_diagonal",
        "right_diagonal",
        "cz_height",
    ),
}


# Up to this age the head circumference is taken first: it is what every baby is measured by (common
# practice, no source).
BABY_MONTHS = 24.0


def groups_for(months: float) -> dict[str, tuple[str, ...]]:
    """`GROUPS` in the order in which a head of this age is measured.

    >>> groups_for(1.0)["Start with these"][0], groups_for(240.0)["Start with these"][0]
    ('largest_circumference', 'nasion_inion')
    """
    if months >= BABY_MONTHS:
        return GROUPS
    around, first = "largest_circumference", "Start with these"
    others = {title: tuple(n for n in names if n != around) for title, names in GROUPS.items()}
    return {**others, first: (around, *others[first])}


def measurement(name: str) -> Measurement:
    """The declared measurement of a name, with or without ``_mm``.

    Raises
    ------
    UnknownNameError
        With the nearest declared name.
    """
    found = MEASUREMENTS.get(name.removesuffix("_mm"))
    if found is None:
        raise unknown_name("measurement", name, MEASUREMENTS)
    return found
