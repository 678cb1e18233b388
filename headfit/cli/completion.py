"""Print what teaches a shell to complete the commands and options of headfit.

bash:        headfit completion bash > ~/.local/share/bash-completion/completions/headfit
fish:        headfit completion fish > ~/.config/fish/completions/headfit.fish
zsh:         headfit completion zsh > _headfit, in a folder of $fpath
PowerShell:  headfit completion powershell >> $PROFILE

Then open a new shell.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from headfit.cli.screen import Screen
from headfit.errors import unknown_name


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what `headfit completion` takes."""
    parser.add_argument("shell", metavar="SHELL", help="bash, fish, powershell, tcsh or zsh")


def run(arguments: argparse.Namespace, screen: Screen) -> int:
    """Print the script."""
    import shtab

    from headfit.cli import build_parser

    if arguments.shell not in shtab.SUPPORTED_SHELLS:
        raise unknown_name("shell", arguments.shell, shtab.SUPPORTED_SHELLS)
    parser = build_parser()
    for command in _commands(parser):
        for action in command._actions:
            if action.type is Path:
                action.complete = shtab.FILE  # type: ignore[attr-defined]
    script = shtab.complete(parser, shell=arguments.shell)
    if not screen.as_json:
        print(script)  # noqa: T201  a line must not be wrapped
    screen.result({"shell": arguments.shell, "script": script})
    return 0


def _commands(parser: argparse.ArgumentParser) -> list[argparse.ArgumentParser]:
    found: list[argparse.ArgumentParser] = []
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            found += action.choices.values()
    return found
