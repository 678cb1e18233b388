"""Marks and comparisons as a notebook shows them."""

from html.parser import HTMLParser

import numpy as np
from marked_heads import landmarks_of, template_sites

from headfit import Marks, compare_marks, load_template
from headfit.marks.remarks import doubt
from headfit.notebook import html_table

SITES = template_sites("10-20")
HOSTILE = "<script>alert(1)</script>"


class Cells(HTMLParser):
    """The tags that were met and the text between them."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.texts: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: object) -> None:
        assert not attrs  # no colour, no style
        self.tags.add(tag)

    def handle_data(self, data: str) -> None:
        self.texts.append(data)


def test_hostile_names_and_sources_stay_text() -> None:
    marks = Marks(
        ("Cz",),
        [[0.0, 10, 130]],
        {},
        (HOSTILE,),
        [[1.0, 2, 3]],
        {},
        HOSTILE,
        (doubt("a", HOSTILE),),
    )
    shown = Cells(marks._repr_html_())
    assert "script" not in shown.tags
    assert HOSTILE in shown.texts
    assert shown.texts[5:9] == ["Cz", "0.0", "10.0", "130.0"]


def test_a_comparison_shows_the_farthest_mark_first_and_its_band_in_words() -> None:
    points = np.array(SITES.points_mm)
    points[SITES.names.index("Pz")] += [0.0, -14.0, 0.0]
    marks = Marks(SITES.names, points, landmarks_of(load_template()))
    html = compare_marks(SITES, marks)._repr_html_()
    shown = Cells(html[html.index("<table>") :]).texts
    assert shown[6] == "Pz"
    assert shown[10] == "beyond 10 mm"


def test_very_many_rows_are_counted() -> None:
    assert html_table("all", ["n"], [[k] for k in range(130)]).endswith("<p>and 30 more</p>")
