"""
What one more measurement is worth
==================================

headfit says which measurement to take next, and what it would bring. Here the promise is made, the
measurement is taken, and the rings of the sites are drawn before and after. Invented numbers.
"""

import matplotlib.pyplot as plt

import headfit

# %%
# Three tapes, and what headfit would measure next.
three = headfit.Tape(nasion_inion_mm=360, preauricular_arc_mm=362, ring_mm=564)
before = headfit.solve_case(headfit.Case(three))
for name, drop_mm in before.advice.next[:4]:
    print(f"{name:24s} would lower the mean uncertainty of a site by {drop_mm:.1f} mm")

# %%
# So the breadth of the head is taken by caliper, and the arc from ear to ear over Oz by tape.
five = headfit.Tape(
    nasion_inion_mm=360,
    preauricular_arc_mm=362,
    ring_mm=564,
    head_breadth_mm=152,
    ear_arc_oz_mm=301,
)
after = headfit.solve_case(headfit.Case(five))
after.advice

# %%
# Half the length of each 95 % ring. Sites far from the landmarks win most.
names = before.sites.names
rows = range(len(names))
figure, axes = plt.subplots(figsize=(8, 5), layout="constrained")
for solved, words, marker in ((before, "three tapes", "o"), (after, "and two more", "s")):
    axes.plot(solved.spreads.ellipses_mm[:, 0], rows, marker, label=words)
axes.set_yticks(rows, names)
axes.set_ylim(len(names) - 0.5, -0.5)
axes.set_xlim(left=0)
axes.set_xlabel("half the length of the 95 % ring (mm)")
axes.grid(axis="x", alpha=0.4)
axes.legend()
figure.savefig("one_more.png", dpi=120)
