"""List what can be measured on a head, how, and how well.

The names are those of the [tape] table of a case file. Any subset will do; start with nasion_inion,
preauricular_arc and ring.
"""

from __future__ import annotations

import argparse
from dataclasses import asdict

from headfit.cli.screen import Screen


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what `headfit measurements` takes: nothing."""


def run(_arguments: argparse.Namespace, screen: Screen) -> int:
    """Print the list."""
    from headfit.fitting.tape import MEASUREMENTS

    for name, kind in MEASUREMENTS.items():
        screen.say(name, style="bold")
        screen.listed([f"{kind.how} (one reading is good to {kind.spread_mm / 10:.2g} cm)"])
    screen.result({"measurements": [asdict(kind) for kind in MEASUREMENTS.values()]})
    return 0
