"""
A whole study
=============

Everybody of a BIDS dataset at once: how well electrodes were placed, how well sessions repeat, what
differs between raters or devices. Here twelve invented people stand for a dataset; needs the extra
``headfit[study]``.
"""

import shutil
from pathlib import Path

import headfit

# %%
# In a script of your own call it under ``if __name__ == "__main__":``, because workers are fresh
# interpreters. ``workers=0`` computes in this one.
figures = headfit.run_study(None, "study", simulate=12, seed=1, workers=0)
figures.head()

# %%
# The folder holds a report to read, tidy tables with what each column means, figures for a paper,
# and the words for its methods section.
print(Path("study/methods.txt").read_text(encoding="utf-8"))
shutil.copy("study/figures/map_accuracy_landmarks.png", "study.png")
