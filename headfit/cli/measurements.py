"""List what can be measured on a head, how, and how well; and what can be set by hand.

The names are those of the tables [tape] and [shape] of a case file. Of the measurements any subset
will do; start with nasion_inion, preauricular_arc and ring. Set by hand only what no tape sees.
"""

from __future__ import annotations

import argparse
from dataclasses import asdict
from pathlib import Path

from headfit.cli.screen import Screen


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what `headfit measurements` takes."""
    parser.add_argument("--html", metavar="FILE.html", type=Path, help="write it with drawings")
    parser.add_argument("--age", metavar="AGE", default="adult", help="of the head that is drawn")


def run(arguments: argparse.Namespace, screen: Screen) -> int:
    """Print the list, or write it as a page."""
    if arguments.html is not None:
        return _drawn(arguments, screen)
    from headfit.fitting.hand_set_shape import HAND_MODES
    from headfit.fitting.measurements import MEASUREMENTS

    screen.say("[tape]: measured, in the unit named there", style="bold")
    for name, kind in MEASUREMENTS.items():
        screen.say(name, style="bold")
        screen.listed([f"{kind.how} (one reading is good to {kind.spread_mm / 10:.2g} cm)"])
    screen.say()
    screen.say("[shape]: set by hand, in mm; 1 mm moves the scalp by 2 to 3 mm where it moves most")
    for name, mode in HAND_MODES.items():
        screen.say(name, style="bold")
        screen.listed([f"{mode.title}: below 0 {mode.below}, above 0 {mode.above}"])
    screen.result(
        {
            "measurements": [asdict(kind) for kind in MEASUREMENTS.values()],
            "shape_modes": {name: asdict(mode) for name, mode in HAND_MODES.items()},
        }
    )
    return 0


def _drawn(arguments: argparse.Namespace, screen: Screen) -> int:
    from headfit.anatomy.template import age_from_text
    from headfit.output.measuring_page import write_measurements

    with screen.doing("Drawing"):
        write_measurements(arguments.html, age_from_text(arguments.age))
    screen.say(f"Wrote {arguments.html}")
    screen.result({"file": str(arguments.html)})
    return 0
