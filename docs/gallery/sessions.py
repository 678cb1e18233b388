"""
The same person twice
=====================

Two sessions of one person: how well does each site come back, and is it the marks or the landmarks
that differ? Invented data.
"""

import matplotlib.pyplot as plt

import headfit

# %%
sessions = [headfit.read_marks(headfit.sample(name)) for name in ("first.tsv", "second.tsv")]
repeated = headfit.compare_sessions(sessions)
print(repeated.sentence)

# %%
# By the landmarks a slip of a landmark counts as well; after a best fit only the marks do.
worst = repeated.sites[:10]
figure, axes = plt.subplots(figsize=(8, 4), layout="constrained")
rows = range(len(worst))
axes.plot([site.by_landmarks_mm for site in worst], rows, "o", label="by the landmarks")
axes.plot([site.by_fit_mm for site in worst], rows, "s", label="after a best fit")
axes.set_yticks(rows, [site.site for site in worst])
axes.invert_yaxis()
axes.set_xlim(left=0)
axes.set_xlabel("root mean square distance between the sessions (mm)")
axes.grid(axis="x", alpha=0.4)
axes.legend()
figure.savefig("sessions.png", dpi=120)
