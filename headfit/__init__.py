"""headfit: the missing view of 10-20 placement, from tape values to a head you can look at.

Tape values scale a template head; 10-20, 10-10 and 10-5 sites are arcs on its surface; marked or
digitised positions are compared with them. Lengths are millimetres throughout. Not a medical
device.
"""

from headfit.anatomy.arcs import Rules
from headfit.anatomy.head import Head
from headfit.anatomy.landmarks import Landmarks
from headfit.anatomy.sites import Sites, place_sites
from headfit.anatomy.template import load_template
from headfit.errors import HeadfitError
from headfit.fitting.fit import FittedHead, fit_head
from headfit.fitting.measures import measure_head
from headfit.fitting.tape import Tape

__all__ = [
    "FittedHead",
    "Head",
    "HeadfitError",
    "Landmarks",
    "Rules",
    "Sites",
    "Tape",
    "fit_head",
    "load_template",
    "measure_head",
    "place_sites",
]

__version__ = "0.1.0"
