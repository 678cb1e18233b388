"""headfit: the missing view of 10-20 placement, from tape values to a head you can look at.

Tape values scale a template head; 10-20, 10-10 and 10-5 sites are arcs on its surface; marked or
digitised positions are compared with them. Lengths are millimetres throughout. Not a medical
device.
"""

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from headfit.anatomy.arcs import Rules
    from headfit.anatomy.head import Head
    from headfit.anatomy.landmarks import Landmarks
    from headfit.anatomy.sites import Sites, place_sites
    from headfit.anatomy.template import load_template
    from headfit.comparing.compare import compare_marks
    from headfit.comparing.comparison import Comparison
    from headfit.comparing.repeatability import compare_sessions
    from headfit.comparing.unnamed_marks import guess_places
    from headfit.errors import HeadfitError
    from headfit.files.marks_files import read_marks
    from headfit.files.surfaces import read_head
    from headfit.fitting.fit import FittedHead, fit_head
    from headfit.fitting.measures import measure_head
    from headfit.fitting.tape import Tape
    from headfit.marks.marks import Marks

__all__ = [
    "Comparison",
    "FittedHead",
    "Head",
    "HeadfitError",
    "Landmarks",
    "Marks",
    "Rules",
    "Sites",
    "Tape",
    "compare_marks",
    "compare_sessions",
    "fit_head",
    "guess_places",
    "load_template",
    "measure_head",
    "place_sites",
    "read_head",
    "read_marks",
]

__version__ = "0.1.0"

# NumPy and SciPy take half a second to load: a public name brings its module when it is asked for.
_HOME = {
    "Comparison": "headfit.comparing.comparison",
    "FittedHead": "headfit.fitting.fit",
    "Head": "headfit.anatomy.head",
    "HeadfitError": "headfit.errors",
    "Landmarks": "headfit.anatomy.landmarks",
    "Marks": "headfit.marks.marks",
    "Rules": "headfit.anatomy.arcs",
    "Sites": "headfit.anatomy.sites",
    "Tape": "headfit.fitting.tape",
    "compare_marks": "headfit.comparing.compare",
    "compare_sessions": "headfit.comparing.repeatability",
    "fit_head": "headfit.fitting.fit",
    "guess_places": "headfit.comparing.unnamed_marks",
    "load_template": "headfit.anatomy.template",
    "measure_head": "headfit.fitting.measures",
    "place_sites": "headfit.anatomy.sites",
    "read_head": "headfit.files.surfaces",
    "read_marks": "headfit.files.marks_files",
}

if not TYPE_CHECKING:  # else a type checker would take any name for a public one

    def __getattr__(name: str) -> object:
        if name not in _HOME:
            raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
        value = getattr(import_module(_HOME[name]), name)
        globals()[name] = value
        return value


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
