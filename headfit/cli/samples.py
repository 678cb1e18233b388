"""Copy the sample files that come with headfit into a folder: invented data to try commands on."""

from __future__ import annotations

import argparse
from pathlib import Path

from headfit.cli.screen import Screen


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what `headfit samples` takes."""
    parser.add_argument("folder", metavar="DIR", type=Path, help="folder to write")


def run(arguments: argparse.Namespace, screen: Screen) -> int:
    """Write the files; what the folder holds under one of their names is left alone, and said."""
    from headfit.errors import InputError, sentence
    from headfit.files.samples import sample, sample_names
    from headfit.files.whole import write_new_folder, write_whole

    files = {name: sample(name).read_bytes() for name in sample_names()}
    for name in files:
        if (arguments.folder / name).exists():
            raise InputError(
                sentence(
                    "the folder of the samples",
                    "hold no file of their names",
                    str(arguments.folder / name),
                    "choose a new folder",
                ),
                code="samples-there",
            )
    if arguments.folder.is_dir():  # a new folder in its place would not be the one a shell is in
        for name, content in files.items():
            write_whole(arguments.folder / name, content)
    else:
        write_new_folder(arguments.folder, files)
    screen.say(f"Wrote {arguments.folder}/: {', '.join(files)}. All of it is invented.")
    screen.result({"folder": str(arguments.folder), "files": list(files)})
    return 0
