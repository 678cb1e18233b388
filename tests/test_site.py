"""The site: what its pages say to type works, and what is broken in it is found."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
import site_gallery
from PIL import Image
from running_app import running
from site_links import broken_links
from site_reference import TITLES, api_pages, public_names
from site_staging import MARKER, staged_files
from site_tables import TABLES, accuracy_rows
from snippets import command_lines, snippets

import headfit
from headfit.anatomy.arcs import Rules
from headfit.anatomy.site_table import TABLE
from headfit.cli import COMMANDS, main
from headfit.files.case_file import case_of_text
from headfit.fitting.measurements import MEASUREMENTS

ROOT = Path(__file__).parents[1]
DOCS = ROOT / "docs"
PAGES = {
    path.relative_to(DOCS).as_posix(): path.read_text(encoding="utf-8")
    for path in sorted(DOCS.rglob("*.md"))
}
TYPED = [name for name, text in PAGES.items() if command_lines(text)]
IN_PYTHON = [
    (name, number)
    for name, text in PAGES.items()
    for number in range(len(snippets(text, "python")))
]


def test_pages_with_something_to_type_are_found() -> None:
    assert {"start/technologist.md", "start/educator.md", "start/researcher.md"} <= set(TYPED)
    assert len(IN_PYTHON) >= 3


@pytest.mark.parametrize("page", TYPED)
def test_what_a_page_says_to_type_works_in_an_empty_folder(
    page: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    for words in command_lines(PAGES[page]):
        if words[0] == "cd":
            monkeypatch.chdir(words[1])
        elif words[1] == "app":
            with running(Path(words[2]).absolute()) as app:
                assert json.dumps(app.get("state")).count("Cz") > 1
        else:
            assert main(words[1:]) == 0, words
            assert capsys.readouterr().err == ""


@pytest.mark.parametrize(("page", "number"), IN_PYTHON)
def test_the_python_of_a_page_runs(
    page: str,
    number: int,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    exec(compile(snippets(PAGES[page], "python")[number], page, "exec"), {})
    out, err = capsys.readouterr()
    assert "bound method" not in out  # a method that nobody called
    assert " at 0x" not in out
    assert err == ""


def test_every_table_made_from_the_code_stands_on_a_page() -> None:
    named = [name for text in PAGES.values() for name in MARKER.findall(text)]
    assert sorted(named) == sorted(TABLES)


@pytest.mark.parametrize(
    ("table", "names"),
    [
        ("sites", tuple(TABLE)),
        ("measurements", tuple(MEASUREMENTS)),
        ("rules", tuple(vars(Rules()))),
        ("commands", COMMANDS),
    ],
)
def test_a_table_misses_nothing_the_code_has(table: str, names: tuple[str, ...]) -> None:
    made = TABLES[table]()
    assert len(names) >= 5
    assert [name for name in names if name not in made] == []


def test_every_site_of_the_table_has_a_source_beside_it() -> None:
    rows = [line.split(" | ") for line in TABLES["sites"]().splitlines()[2:]]
    assert len(rows) == len(TABLE)
    assert all(len(row) == 4 and row[3].strip(" |") for row in rows)


def test_the_case_file_of_the_reference_is_read() -> None:
    example = TABLES["case_example"]().removeprefix("```toml\n").removesuffix("```")
    case = case_of_text(example, Path())
    assert case.tape is not None
    assert case.rules.inner == "parasagittal"
    record = TABLES["record_example"]().removeprefix("```toml\n").removesuffix("```")
    assert (
        case_of_text(f'{record}\n[tape]\nunit = "cm"\nring = 56', Path()).record.site("P4").place
        == "PPO4h"
    )


def test_figures_of_drawn_heads_are_those_that_were_kept() -> None:
    kept = json.loads((ROOT / "docs/reference/bench_fit.json").read_text(encoding="utf-8"))
    said = TABLES["drawn_heads"]()
    assert kept["date"] in said
    assert kept["commit"] in said
    assert len(kept["sheets"]) == 9
    for sheet in kept["sheets"]:
        row = next(line for line in said.splitlines() if line.startswith(f"| {sheet['sheet']} |"))
        assert f"| {sheet['mean']:.1f} mm | {sheet['noisy']:.1f} mm |" in row
        # More readings never make the spread of 95 % a lie: what the fit claims it keeps.
        assert 0.9 < sheet["in_95"] <= 1.0


def test_the_accuracy_told_is_that_of_the_readme() -> None:
    header, *rows = accuracy_rows()
    assert header[:2] == ["measured", "mean error"]
    assert [row[1] for row in rows] == ["3.5 mm", "2.8 mm", "2.5 mm", "1.7 mm", "1.6 mm"]


def test_every_public_name_has_an_entry() -> None:
    names = public_names()
    assert names.keys() == TITLES.keys()
    text = "".join(api_pages().values())
    listed = [name for found in names.values() for name in found]
    assert len(listed) > 50
    assert [name for name in listed if f":: headfit.{name}\n" not in text] == []
    assert set(listed) <= set(dir(headfit))


def test_every_script_of_the_gallery_has_its_place_and_its_picture() -> None:
    scripts = {path.name: path.read_text(encoding="utf-8") for path in DOCS.glob("gallery/*.py")}
    assert sorted(scripts) == sorted(site_gallery.ORDER)
    assert len(scripts) >= 10
    for text in scripts.values():
        assert any(f'"{picture}"' in text for picture in site_gallery.PICTURES)


def test_a_picture_without_words_stops_the_build(tmp_path: Path) -> None:
    Image.new("RGB", (4, 4)).save(tmp_path / "wordless.png")
    told = {"src_file": str(tmp_path / "a.py"), "image_path_iterator": iter([tmp_path / "b.png"])}
    with pytest.raises(KeyError, match="wordless"):
        site_gallery.picture_scraper(None, told, {"src_dir": tmp_path})


def site_of(folder: Path, **pages: str) -> Path:
    for name, body in pages.items():
        (folder / f"{name}.html").write_text(f"<html><body>{body}</body></html>", encoding="utf-8")
    return folder


def test_links_that_lead_somewhere_are_not_named(tmp_path: Path) -> None:
    body = '<h1 id="a">A</h1><a href="two.html#a">a</a><a href="https://example.org">elsewhere</a>'
    assert broken_links(site_of(tmp_path, one=body, two=body)) == []


@pytest.mark.parametrize(
    ("body", "said"),
    [
        ('<a href="gone.html">x</a>', "leads to no file"),
        ('<a href="#gone">x</a>', "leads to no place on its page"),
        ('<script src="https://example.org/x.js"></script>', "is loaded from outside"),
        ('<link rel="stylesheet" href="//example.org/x.css">', "is loaded from outside"),
        ('<img src="one.html">', "has no alt text"),
    ],
)
def test_what_is_broken_on_a_page_is_named(tmp_path: Path, body: str, said: str) -> None:
    (line,) = broken_links(site_of(tmp_path, one=body))
    assert line.endswith(said)


def test_a_site_without_pages_is_no_good_site(tmp_path: Path) -> None:
    assert len(broken_links(tmp_path)) == 1


SCRIPT = '"""\nTitle\n=====\n\nWords.\n"""\n\nprint(1)\n'


@pytest.mark.parametrize(
    ("page", "script", "code"),
    [
        ("[there](#words)", SCRIPT, 0),
        ("[gone](gone.md)", SCRIPT, 1),
        ("[there](#words)", SCRIPT + "raise ValueError\n", 2),
    ],
)
def test_a_dead_link_or_a_broken_script_fails_the_build(
    page: str, script: str, code: int, tmp_path: Path
) -> None:
    source = tmp_path / "source"
    for name in ("conf.py", "gallery/GALLERY_HEADER.rst", "static/site.css"):
        (source / name).parent.mkdir(parents=True, exist_ok=True)
        (source / name).write_bytes(staged_files(ROOT)[name])
    (source / "index.md").write_text(f"# Words\n\n{page}\n\n```{{toctree}}\nexamples/index\n```\n")
    (source / "gallery" / "fit.py").write_text(script)
    result = subprocess.run(
        [
            *(sys.executable, "-m", "sphinx", "-b", "html", "-q", "-W", "--keep-going"),
            *(str(source), str(tmp_path / "site")),
        ],
        env=os.environ | {"PYTHONPATH": os.pathsep.join([str(ROOT), str(ROOT / "scripts")])},
        capture_output=True,
        text=True,
        check=False,
    )
    assert (result.returncode > 0) == (code > 0), result.stderr
    assert (tmp_path / "site" / "index.html").is_file() or code == 2
