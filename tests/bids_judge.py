"""The validator of the BIDS standard, run on a dataset."""

import json
import subprocess
import sys
from pathlib import Path

VALIDATOR = Path(sys.executable).with_name("bids-validator-deno")


def issues_of(folder: Path) -> list[tuple[str, str]]:
    """(severity, code) of everything the validator has to say."""
    done = subprocess.run(
        [VALIDATOR, "--json", folder], capture_output=True, text=True, check=False
    )
    assert done.stdout, done.stderr
    found = json.loads(done.stdout)["issues"]["issues"]
    return [(issue["severity"], issue["code"]) for issue in found]
