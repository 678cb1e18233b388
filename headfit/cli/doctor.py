"""Say what works on this machine: one sentence for each part that headfit needs."""

from __future__ import annotations

import argparse

from headfit import __version__
from headfit.cli.screen import Screen


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what `headfit doctor` takes: nothing."""


def run(_arguments: argparse.Namespace, screen: Screen) -> int:
    """Examine, and say it; 1 when a part is broken that every command needs."""
    from headfit.output.doctor import examine

    findings = examine(__version__)
    for finding in findings:
        screen.say(f"{finding.sign} {finding.part}: {finding.sentence}")
    screen.result({"findings": [vars(finding) for finding in findings]})
    return 1 if any(finding.state == "broken" for finding in findings) else 0
