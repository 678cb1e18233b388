"""
A lesson on a head of one's own
===============================

Ten lessons come with headfit; each shows one idea step by step, on any head, with numbers computed
on that head. As one HTML file for a projector, stills for slides, or a handout. Invented data.
"""

from pathlib import Path

import headfit
from headfit.output.lesson_paper import still_png

# %%
# The lesson on the ring, on the sample head.
solved = headfit.solve_case(headfit.read_case(headfit.sample("case.toml")))
staged = headfit.lesson("ring", solved)
for step in staged.steps:
    print("-", step)

# %%
# One offline file to show, with something to drag at each step; and a still of the second step.
headfit.write_lesson(staged, "ring.html")
Path("lesson.png").write_bytes(still_png(staged.steps[1]))
