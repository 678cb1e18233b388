"""The published average scalp: `fsaverage-head.fif`, carried by the package mne.

2033 vertices from MRI, under a licence of its own that asks for its notice when it is passed on; it
is only read here.
"""

from functools import cache
from pathlib import Path

import mne

from headfit import Head, Landmarks


@cache
def average_scalp() -> Head:
    """As it comes, ears, nose and neck included; the landmarks those of mne's montage of it."""
    folder = Path(mne.__file__).parent / "data" / "fsaverage"
    surface = mne.read_bem_surfaces(folder / "fsaverage-head.fif", verbose=False)[0]
    positions = mne.channels.make_standard_montage("fsaverage_1005").get_positions()
    marks = positions["nasion"], positions["ch_pos"]["Iz"], positions["lpa"], positions["rpa"]
    landmarks = Landmarks(*(1000 * at for at in marks))
    return Head(1000 * surface["rr"], surface["tris"], landmarks)
