"""
Marks without names
===================

A digitiser that only counts its points, 1, 2, 3: at which site does each lie? headfit suggests a
name where one site is near and no other nearly as near; it renames nothing by itself. Invented
data.
"""

import headfit

# %%
# The marks of the sample, their names taken away.
named = headfit.read_marks(headfit.sample("electrodes.tsv"))
numbered = headfit.Marks(
    (), (), named.landmarks, tuple(map(str, range(1, len(named) + 1))), named.points_mm
)
head = headfit.solve_case(headfit.read_case(headfit.sample("case.toml"))).head
guesses = headfit.guess_places(head, numbered)
for guess in guesses[:8]:
    sure = "" if guess.sure else f", or {guess.next_site}"
    print(f"{guess.name:>3s} lies {guess.distance_mm:4.1f} mm from {guess.site}{sure}")

# %%
# What is sure may be taken over; the rest is for a person to decide.
sure = {guess.name: guess.site for guess in guesses if guess.sure}
marks = numbered.renamed(sure)
print(len(marks), "named,", len(marks.other_names), "left as they were")

# %%
# Among the 19 sites of 10-20 alone the choice is easier than among the 70 of 10-10.
case = headfit.Case(label="numbered marks", scan=head, marks=marks, invented=True)
headfit.write_picture(headfit.solve_case(case), "unnamed.png", view="top", size=(1200, 900))
