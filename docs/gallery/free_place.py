"""
A place that must stay free
===========================

A wound at P3: no cup and no tape goes there. headfit says where the site goes instead, moves its
partner on the other side with it so that both sides stay alike, and which tapes end before the
place. Whether an electrode may stand near a wound at all is for local policy and a licensed
practitioner to decide. Invented data.
"""

import headfit

# %%
# The sample case has such a place. Other cases get one by ``free=``.
case = headfit.read_case(headfit.sample("case.toml"))
print(case.free)
solved = headfit.solve_case(case)

# %%
# Where the sites go, and how they are found on the head:
for sentence in solved.free_sentences:
    print("-", sentence)

# %%
# Seen from the back: the free place, and where P3 and P4 stand now.
headfit.write_picture(solved, "free_place.png", view="back", size=(1200, 900))

# %%
# The same on paper: the sheet leads round the place.
headfit.write_sheet(solved, "sheet.pdf")
