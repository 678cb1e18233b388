"""Reading in a process of its own, with libraries that end their process or never come back.

On damaged files both were met: VTK ends the process, mne follows a circle of references for ever,
nibabel counts to any number that a file names.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

SECONDS = 60
_BEGIN = """
import sys
try:
    import resource
    resource.setrlimit(resource.RLIMIT_AS, (8 << 30, 8 << 30))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
except (ImportError, ValueError, OSError):
    pass
source, target = sys.argv[1:]
"""


def read_apart(script: str, path: Path) -> bytes:
    """What a script of Python wrote into the file `target` after it read the file `source`.

    Parameters
    ----------
    script : str
        Ends with a sentence, ``sys.exit("...")``, where it cannot read.
    path : Path

    Raises
    ------
    RuntimeError
        It wrote nothing; with its own sentence where it had one.
    """
    with tempfile.TemporaryDirectory() as name:
        target = Path(name) / "read"
        try:
            done = subprocess.run(
                [sys.executable, "-I", "-c", _BEGIN + script, str(path), str(target)],
                capture_output=True,
                stdin=subprocess.DEVNULL,
                timeout=SECONDS,
                check=False,
            )
        except subprocess.TimeoutExpired:
            raise RuntimeError(f"its library was not done in {SECONDS} s") from None
        if done.returncode or not target.is_file():
            said = done.stderr.decode("utf-8", "replace").strip().splitlines()
            own = said[-1] if done.returncode == 1 and said else "its library gives up"
            raise RuntimeError(own)
        return target.read_bytes()
