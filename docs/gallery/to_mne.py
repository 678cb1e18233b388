"""
Into MNE-Python and BIDS
========================

Sites with their landmarks as an ``mne`` montage, and as a BIDS derivatives dataset. Many readers
drop the landmarks and estimate new ones from the electrodes; here they travel along. Needs the
extra ``headfit[mne]``. Invented numbers.
"""

from pathlib import Path

import matplotlib.pyplot as plt

import headfit

# %%
tape = headfit.Tape(nasion_inion_mm=360, preauricular_arc_mm=362, ring_mm=564)
solved = headfit.solve_case(headfit.Case(tape, system="10-10", invented=True))

# %%
# In the head frame of ``mne``, in metres.
montage = solved.sites.to_mne()
positions = montage.get_positions()
print(positions["coord_frame"], len(positions["ch_pos"]), "sites, nasion at", positions["nasion"])
figure = montage.plot(show=False)
figure.savefig("to_mne.png", dpi=120)
plt.close(figure)

# %%
# The dataset says of every position that it was predicted, not measured.
headfit.write_bids(solved, "bids")
table = Path("bids/sub-01/eeg/sub-01_acq-tape_electrodes.tsv").read_text(encoding="utf-8")
print(*table.splitlines()[:3], sep="\n")
