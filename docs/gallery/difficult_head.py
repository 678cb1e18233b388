"""
A difficult head
================

A child with a flat back of the head, and an inion that could not be felt. What the eye sees and no
tape does is set by hand; what was hard to find is said. Invented numbers.
"""

from dataclasses import replace

import numpy as np

import headfit

# %%
# The age chooses the template and what is believed of heads before the tape. A doubtful landmark
# widens the rings of all that hangs on it.
tape = headfit.Tape(nasion_inion_mm=318, preauricular_arc_mm=325, ring_mm=494, head_breadth_mm=141)
case = headfit.Case(tape, label="a child of five", age=5.0, doubtful=("inion",), invented=True)
seen = replace(case, shape={"vault_2_m2": 4.0})  # flat on the right at the back
solved = headfit.solve_case(seen)

# %%
# Which sites the flat place moves, against the same sheet without it:
plain = headfit.solve_case(case)
moved = {name: np.linalg.norm(solved.sites[name] - plain.sites[name]) for name in plain.sites}
for name in sorted(moved, key=moved.get, reverse=True)[:5]:
    print(f"{name:4s} {moved[name]:.1f} mm")

# %%
# What a person should look at before anything is marked:
for sentence in (*solved.urgent_sentences, *solved.advice.sentences(), *solved.advice.shape):
    print("-", sentence)

# %%
# From above the flat side is plain to see.
headfit.write_picture(solved, "difficult_head.png", view="top", size=(1200, 900))
