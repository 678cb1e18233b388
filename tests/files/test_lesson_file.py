"""A lesson file with a mistake gets one sentence with file and line."""

from __future__ import annotations

from pathlib import Path

import pytest

from headfit.errors import HeadfitError, UnknownNameError
from headfit.files.formats import reader
from headfit.files.lesson_file import built_in_lesson, lesson_names, read_lesson
from headfit.teaching.lesson import Lesson

GOOD = """# A class of my own.
[lesson]
name = "own"
title = "My lesson"

[[step]]
name = "first"
title = "First"
caption = "The tape reads {length midline}."
camera = "left above"
show = ["tape midline", "sites Fz T3"]

[[step]]
name = "second"
title = "Second"
caption = "Oz goes {moved Oz inion lower 10}."
camera = "back"
look_at = "inion"
closer = 2
watch = ["Oz"]
[step.drag]
kind = "push"
landmark = "inion"
way = "lower"
[step.ask]
text = "How long?"
answer = "{length midline}"
wrong = ["{half midline}"]
again = "first"
"""


def read(text: str, tmp_path: Path) -> Lesson:
    path = tmp_path / "own.toml"
    path.write_text(text, encoding="utf-8")
    return read_lesson(path)


def test_a_lesson_of_ones_own_is_read_into_nouns(tmp_path: Path) -> None:
    lesson = read(GOOD, tmp_path)
    assert repr(lesson) == "Lesson('own', 'My lesson', 2 steps)"
    first, second = lesson.steps
    assert first.show == ("tape midline", "sites Fz T3")
    assert second.view.closer == 2
    assert second.drag is not None
    assert second.drag.options == {"landmark": "inion", "way": "lower"}
    assert second.question is not None
    assert second.question.again == "first"


@pytest.mark.parametrize(
    ("old", "new", "line", "said"),
    [
        ("sites Fz T3", "sites Fzz", 11, "unknown site 'Fzz': did you mean 'Fz'?"),
        ('camera = "left above"\n', "", 6, "camera must tell where it stands, got nothing"),
        ("left above", "left abvoe", 10, "did you mean 'above'?"),
        ('"left above"', '"left right"', 10, "unknown direction of a camera 'left right'"),
        (
            "{length midline}.",
            "{lenght midline}.",
            9,
            "unknown number in braces 'lenght': did you mean 'length'?",
        ),
        ("{length midline}.", "{length middle}.", 9, "unknown arc 'middle': did you mean"),
        ("{length midline}.", "{length}.", 9, "must be followed by arc, got 0"),
        ("{length midline}.", "{length midline.", 9, "must stand in one pair of braces"),
        ("Oz inion lower 10", "Oz inion lower 900", 16, "be a number from -30 to 30"),
        ("Oz inion lower 10", "Oz onion lower 10", 16, "unknown landmark 'onion'"),
        ("Oz inion lower 10", "Oz inion lower much", 16, "be a number from -30 to 30"),
        ('again = "first"', 'again = "frist"', 29, "again must name a step of this lesson"),
        ('name = "second"', 'name = "first"', 14, "the name of a step must be its own"),
        ('kind = "push"', 'kind = "pusch"', 22, "unknown kind of drag 'pusch'"),
        ('way = "lower"\n', "", 22, "the drag push must have the option way"),
        ('way = "lower"', 'way = "lower"\nfar = 3', 22, "unknown option of the drag push 'far'"),
        ('landmark = "inion"', "landmark = 3", 22, "unknown landmark"),
        ('kind = "push"', 'kind = "wound"', 22, "unknown option of the drag wound"),
        ("tape midline", "tap midline", 11, "unknown figure 'tap': did you mean 'tape'?"),
        ("closer = 2", "closer = 99", 19, "closer must be a number from 0.5 to 6"),
        ("closer = 2", 'closer = "x"', 19, "closer must be a number from 0.5 to 6"),
        ('look_at = "inion"', 'look_at = "chin"', 18, "unknown site 'chin'"),
        ('title = "First"', 'titel = "First"', 6, "did you mean 'title'?"),
        ('title = "First"\n', "", 6, "a step must have the entry title"),
        ('wrong = ["{half midline}"]', "wrong = []", 28, "wrong must hold at least one answer"),
        ('answer = "{length midline}"\n', "", 26, "ask must have the entry answer"),
        ('watch = ["Oz"]', 'watch = ["Oy"]', 20, "unknown site 'Oy'"),
        ('name = "own"', 'name = "My own"', 3, "be small letters, digits and dashes"),
        ('title = "My lesson"\n', "", 1, "[lesson] must have the entry title"),
    ],
)
def test_a_mistake_is_told_with_file_and_line(
    tmp_path: Path, old: str, new: str, line: int, said: str
) -> None:
    assert old in GOOD
    with pytest.raises(HeadfitError) as caught:
        read(GOOD.replace(old, new, 1), tmp_path)
    assert str(caught.value).startswith(f"own.toml: line {line}: ")
    assert said in str(caught.value)


def test_a_caption_is_no_page(tmp_path: Path) -> None:
    with pytest.raises(HeadfitError, match="line 9: a caption must have 1 to 40 words"):
        read(GOOD.replace("The tape reads", "word " * 50), tmp_path)


def test_no_step_is_no_lesson(tmp_path: Path) -> None:
    with pytest.raises(HeadfitError, match="a lesson must have 1 to 60 steps"):
        read(GOOD.partition("[[step]]")[0], tmp_path)


def test_built_in_lessons_are_found_by_name_and_read_by_the_format() -> None:
    assert lesson_names()[0] == "landmarks"
    assert built_in_lesson("wound").free[0].site == "P4"
    with pytest.raises(UnknownNameError, match="did you mean 'ring'"):
        built_in_lesson("rinng")
    assert reader("lesson", ".toml") is read_lesson
