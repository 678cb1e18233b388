"""
Sites on a scanned surface
==========================

A surface from a 3D scanner, a camera or an MRI, and four landmarks on it, are enough: the sites are
then placed on the person's own skin, and no head model is asked. The sample scan is invented.
"""

import headfit

# %%
# The surface may be in mm, cm, m or inches; the landmark file names its own unit.
head = headfit.read_head(headfit.sample("scan.ply"), headfit.sample("marks.json"))
sites = headfit.place_sites(head, "10-10")
print(sites, "on", head)
sites

# %%
# Where a tape would meet each site: distances from the start of the arc.
for mark in sites.arc_marks["midline"]:
    print(f"{mark.site:4s} {mark.distance_mm / 10:5.1f} cm")

# %%
# A scan takes the place of the tape in a case, so that sheet, report and picture are made of it.
solved = headfit.solve_case(
    headfit.Case(label="own scan", scan=head, system="10-10", invented=True)
)
headfit.write_picture(solved, "own_scan.png", view="front", size=(1200, 900))
