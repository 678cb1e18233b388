"""
Rules compared
==============

Publications place some sites by different rules. headfit takes one as its own and lets you choose
another; here is how far each site moves on the adult template.
"""

import matplotlib.pyplot as plt

import headfit
from headfit.anatomy.sites import rule_displacements

# %%
# Every choice that a rule leaves, against the default.
head = headfit.load_template("adult")
names = headfit.SYSTEMS["10-10"]
choices = {
    "arcs are shortest paths": headfit.Rules(curve="shortest"),
    "F3 on a parasagittal arc": headfit.Rules(inner="parasagittal"),
    "F3 where two planes cross": headfit.Rules(inner="crossing"),
    "T7 in the middle of the half ring": headfit.Rules(temporal="ring"),
    "row 9/10 on the contour": headfit.Rules(inferior="contour"),
    "the tape follows hollows": headfit.Rules(length="skin"),
}
moved = {
    words: rule_displacements(head, names, headfit.Rules(), rules)
    for words, rules in choices.items()
}
for words, by_site in moved.items():
    site = max(by_site, key=by_site.get)
    print(f"{words:36s} at most {by_site[site]:4.1f} mm, at {site}")

# %%
# Each dot is a site. Most choices leave most sites where they are.
figure, axes = plt.subplots(figsize=(8, 4), layout="constrained")
for row, by_site in enumerate(moved.values()):
    axes.plot(list(by_site.values()), [row] * len(by_site), "o", color="C0", alpha=0.35)
axes.set_yticks(range(len(moved)), list(moved))
axes.invert_yaxis()
axes.set_xlabel("distance from the place by headfit's own rules (mm)")
axes.grid(axis="x", alpha=0.4)
figure.savefig("rules.png", dpi=120)
