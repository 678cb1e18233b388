"""Three invented heads for the chair: a plain one, a newborn array, and one with a wound."""

from functools import cache

from demo_case import solved_text

from headfit.output.chair import Chair
from headfit.output.chair_page import chair_html
from headfit.output.chair_steps import chair_of

PLAIN = """
[case]
label = "invented head"
invented = true
[tape]
unit = "cm"
nasion_inion = 36.0
preauricular_arc = 36.4
ring = 56.0
"""
NEWBORN = """
[case]
label = "invented newborn"
age = "newborn"
system = "newborn"
invented = true
[tape]
unit = "cm"
largest_circumference = 35.0
nasion_inion = 22.5
preauricular_arc = 21.5
"""
WOUND = (
    PLAIN.replace("invented = true", "invented = true\nmove_alone = true")
    + """
[[free]]
site = "P4"
radius_mm = 14
reason = "wound"
"""
)
CASES = {"plain": PLAIN, "newborn": NEWBORN, "wound": WOUND}


@cache
def chair(name: str) -> Chair:
    return chair_of(solved_text(CASES[name]))


@cache
def page(name: str) -> str:
    return chair_html(chair(name))
