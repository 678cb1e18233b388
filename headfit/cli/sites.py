"""Place the sites of a system on a head surface with four landmarks.

SURFACE is a PLY, OBJ, STL, OFF, GLB, VTP or GIfTI file. The landmark file is JSON: {"unit": "mm",
"nasion": [x, y, z], "inion": [...], "left_preauricular": [...], "right_preauricular": [...]}, or a
BIDS coordsystem.json that also names the inion (INI). The table is in mm, in the frame of the
surface.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from headfit.cli.screen import Screen
from headfit.errors import InputError, sentence, unknown_name
from headfit.units import tape_length

if TYPE_CHECKING:
    from headfit.anatomy.arcs import Rules


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what `headfit sites` takes."""
    parser.add_argument("surface", metavar="SURFACE", type=Path, help="head surface")
    parser.add_argument(
        "--landmarks", metavar="FILE.json", type=Path, required=True, help="the four landmarks"
    )
    parser.add_argument(
        "--system", metavar="NAME", default="10-20", help="10-20 (default), ifcn-25, 10-10, 10-5"
    )
    parser.add_argument(
        "-o", "--output", metavar="FILE.tsv", type=Path, required=True, help="table to write"
    )
    parser.add_argument(
        "--unit",
        metavar="UNIT",
        help="of the surface: mm, cm, m, inch; unless given GLB is in m, all others in mm",
    )
    parser.add_argument(
        "--rule",
        metavar="NAME=CHOICE",
        action="append",
        default=[],
        help="curve=plane|shortest, inner=row|parasagittal|crossing, temporal=coronal|ring, "
        "inferior=system|row|contour, length=taut|skin; may be given more than once",
    )


def run(arguments: argparse.Namespace, screen: Screen) -> int:
    """Read the head, place the sites, write the table."""
    from headfit.anatomy.landmarks import NAMES, TITLES
    from headfit.anatomy.sites import place_sites, row_nine_words
    from headfit.files.formats import check_ending
    from headfit.files.surfaces import read_head
    from headfit.files.tables import sites_tsv
    from headfit.files.whole import write_whole

    check_ending("the table", arguments.output, ".tsv")
    rules = rules_of(arguments.rule)
    with screen.doing("Placing sites"):
        head = read_head(arguments.surface, arguments.landmarks, arguments.unit)
        sites = place_sites(head, arguments.system, rules)
    write_whole(arguments.output, sites_tsv(sites))
    lengths = {arc: sites.tracer.length_mm(arc) for arc in ("midline", "coronal")}
    screen.say(
        f"{len(sites)} sites of {arguments.system} on {arguments.surface.name}: midline "
        f"{tape_length(lengths['midline'])}, coronal arc {tape_length(lengths['coronal'])}."
    )
    if row_nine := row_nine_words(sites):
        screen.say(row_nine)
    moved = {
        TITLES[name]: float(offset)
        for name, offset in zip(NAMES, head.landmark_offsets_mm, strict=True)
        if offset >= 0.5
    }
    for title, offset in moved.items():
        screen.say(f"The {title} lay {offset:.1f} mm off the surface and was moved onto it.")
    screen.say(f"Wrote {arguments.output} (mm, frame of the surface).")
    screen.result(
        {
            "file": str(arguments.output),
            "system": arguments.system,
            "n_sites": len(sites),
            "rules": vars(sites.rules),
            "arcs_mm": {arc: round(length, 3) for arc, length in lengths.items()},
            "landmarks_moved_mm": {title: round(offset, 3) for title, offset in moved.items()},
        }
    )
    return 0


def rules_of(given: list[str]) -> Rules:
    """The rules of ``name=choice`` words.

    Raises
    ------
    InputError
        A word without an equals sign, a rule given twice, an unknown rule or choice.

    >>> rules_of(["inner=parasagittal"]).inner
    'parasagittal'
    """
    from headfit.anatomy.arcs import Rules

    chosen: dict[str, str] = {}
    for word in given:
        name, equals, choice = (part.strip() for part in word.partition("="))
        if not equals:
            raise InputError(
                sentence("--rule", "be written NAME=CHOICE", repr(word), "inner=parasagittal"),
                code="rule-syntax",
            )
        if name not in Rules.__dataclass_fields__:
            raise unknown_name("rule", name, Rules.__dataclass_fields__)
        if name in chosen:
            raise InputError(
                sentence(f"--rule {name}", "be given once", "it twice"), code="rule-twice"
            )
        chosen[name] = choice
    return Rules(**chosen)  # type: ignore[arg-type]  # Rules checks the choices itself
