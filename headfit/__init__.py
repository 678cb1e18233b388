"""headfit: the missing view of 10-20 placement, from tape values to a head you can look at.

Tape values scale a template head; 10-20, 10-10 and 10-5 sites are arcs on its surface; marked or
digitised positions are compared with them. Lengths are millimetres throughout. Not a medical
device.
"""

import lazy_loader

__version__ = "0.1.0"

# NumPy and SciPy take half a second to load: a public name brings its module when it is asked for.
# The public names and their homes stand in __init__.pyi, for the type checker and for this.
__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
