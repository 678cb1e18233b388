"""
Is the cap where it should be?
==============================

Marks that a digitiser or a camera gave, held against the sites of the head that was measured. The
sample cap sits too far back. Invented data.
"""

from dataclasses import replace

import headfit

# %%
# Units, axes and names are read with doubt; what was corrected or doubted is in the remarks.
marks = headfit.read_marks(headfit.sample("electrodes.tsv"))
for remark in marks.remarks:
    print("-", remark.sentence)
marks

# %%
# The case knows its marks, so the comparison is one of its parts.
case = headfit.read_case(headfit.sample("case.toml"))
solved = headfit.solve_case(replace(case, free=(), marks=marks))
comparison = solved.comparison
print(comparison.verdict)

# %%
# A comparison is a mapping from site to deviation.
for site in ("Fz", "Cz", "P4"):
    print(site, "lies", comparison[site].words)
comparison.to_frame().head()

# %%
# Arrows lead from the marks to where they should be.
headfit.write_picture(solved, "compare.png", view="back", size=(1200, 900))
