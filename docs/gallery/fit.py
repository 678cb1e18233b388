"""
Three tapes make a head
=======================

From the three lengths that every technologist takes to the 10-20 sites of this one head, and how
sure each of them is. The numbers are invented.
"""

import headfit

# %%
# Lengths are in millimetres here; a case file may hold them in cm or inches.
tape = headfit.Tape(nasion_inion_mm=360, preauricular_arc_mm=362, ring_mm=564)
solved = headfit.solve_case(headfit.Case(tape, label="three tapes", invented=True))
solved

# %%
# Sites are a mapping by name. The head frame has its origin midway between the preauricular points,
# x to the right, y to the nasion, z up.
print("Cz", solved.sites["Cz"].round(1), "mm")
print("old names are understood:", solved.sites["T3"].round(1), "mm")

# %%
# Each site lies within its ring with 95 % probability. The longest half axis tells most:
for name, (longest, _, _) in zip(solved.sites, solved.spreads.ellipses_mm, strict=True):
    if name in ("Fp1", "F3", "Cz", "P4", "O2"):
        print(f"{name:4s} {longest:4.1f} mm")

# %%
# The picture has the same rings on it.
headfit.write_picture(solved, "three_tapes.png", size=(1200, 900))
