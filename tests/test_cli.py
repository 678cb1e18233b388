"""The command line: what it makes and what it says."""

import csv
import dataclasses
import hashlib
import io
import json
import re
import subprocess
import sys
import zipfile
from pathlib import Path

import numpy as np
import pytest
import trimesh
from commands import refused, said
from demo_case import DEMO, TEXT, demo_result
from PIL import Image

from headfit import Rules, __version__, load_template, place_sites
from headfit.anatomy.sites import row_nine_words
from headfit.app.exports import export
from headfit.case.solved import solve_case
from headfit.cli import COMMANDS, main
from headfit.cli.screen import Screen
from headfit.errors import DrawingError
from headfit.files.case_file import read_case
from headfit.files.landmark_files import landmarks_json
from headfit.files.surfaces import ply_bytes, read_head
from headfit.fitting.how_sure import how_sure
from headfit.fitting.measurements import MEASUREMENTS
from headfit.output.case_view import CaseView

MADE = ["bids", "case.json", "head.ply", "headfit-manifest.json", "landmarks.json", "marks.tsv"]


@pytest.fixture
def case(tmp_path: Path) -> Path:
    path = tmp_path / "case.toml"
    path.write_text(TEXT, encoding="utf-8")
    return path


@pytest.fixture
def template(tmp_path: Path) -> tuple[Path, Path]:
    """Surface and landmark file of the adult template."""
    head = load_template()
    surface, marks = tmp_path / "adult.ply", tmp_path / "adult.json"
    surface.write_bytes(ply_bytes(head))
    marks.write_text(landmarks_json(head.landmarks))
    return surface, marks


def test_fit_writes_the_whole_folder(
    case: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, err = said(capsys, "fit", case, "-o", tmp_path / "out", "--no-picture")
    assert (code, err) == (0, "")
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == MADE
    found = json.loads((tmp_path / "out" / "case.json").read_text())
    assert found["made_by"]["version"] == __version__
    assert found["case"]["label"] in out
    dataset = tmp_path / "out" / "bids"
    validator = Path(sys.executable).with_name("bids-validator-deno")
    judged = subprocess.run([validator, "--json", dataset], capture_output=True, check=False)
    assert json.loads(judged.stdout)["issues"]["issues"] == []
    # The head that is written is the head on which the sites stand.
    head = read_head(tmp_path / "out" / "head.ply", tmp_path / "out" / "landmarks.json")
    gap = (
        place_sites(head, "10-20").points_mm
        - place_sites(demo_result().fitted.head, "10-20").points_mm
    )
    assert np.linalg.norm(gap, axis=1).max() < 0.3


def test_fit_twice_writes_the_same_bytes_and_keeps_what_is_not_its_own(
    case: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "out"

    def digests() -> dict[str, str]:
        return {
            str(path.relative_to(out)): hashlib.sha256(path.read_bytes()).hexdigest()
            for path in out.rglob("*")
            if path.is_file()
        }

    assert said(capsys, "fit", case, "-o", out, "--no-picture")[0] == 0
    first = digests()
    assert len(first) == 10
    (out / "notes.txt").write_text("mine")
    assert said(capsys, "fit", case, "-o", out, "--no-picture")[0] == 0
    assert (out / "notes.txt").read_text() == "mine"
    (out / "notes.txt").unlink()
    assert digests() == first


def test_the_summary_fits_on_one_screen_and_has_a_unit_at_every_number(
    case: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    _, out, _ = said(capsys, "fit", case, "-o", tmp_path / "out", "--no-picture")
    lines = out.splitlines()
    assert len(lines) <= 40
    (row,) = [line for line in lines if line.startswith("nasion-inion arc")]
    assert row.split() == "nasion-inion arc 36.6 cm ± 2 mm 36.5 cm -1 mm".split()
    assert "hard to find: inion" in out
    assert "(invented data)" in out
    assert how_sure(demo_result().spreads) in out
    for sentence in demo_result().advice.sentences():
        assert sentence in out


def test_a_difference_of_the_summary_has_its_sign_and_unit(
    case: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    # Halves that do not add up to the whole: no head takes all three readings.
    case.write_text('[tape]\nunit = "cm"\nring = 56.4\nleft_ring = 27.6\nright_ring = 27.6\n')
    _, out, _ = said(capsys, "fit", case, "-o", tmp_path / "out", "--no-picture")
    ends = {row[:24].strip(): row for row in out.splitlines()}
    assert re.search(r" -[1-9] mm$", ends["10 % ring"])
    for half in ("left half ring Fpz-T7-Oz", "right half ring Fpz-T8-O"):
        assert re.search(r" \+[1-9] mm$", ends[half])


def test_the_doubt_is_told_with_the_numbers_of_the_ellipses() -> None:
    spreads = demo_result().spreads
    scalp = [name not in ("A1", "A2") for name in spreads.names]
    twenty = place_sites(demo_result().fitted.head, "10-20").names
    reach = {
        name: a
        for name, a, keep in zip(spreads.names, spreads.ellipses_mm[:, 0], scalp, strict=True)
        if keep and name in twenty
    }
    assert len(reach) == 19
    text = how_sure(demo_result().spreads)
    surest, least = min(reach, key=reach.__getitem__), max(reach, key=reach.__getitem__)
    assert f"the surest, {surest}, lies within {reach[surest]:.0f} mm of its place" in text
    assert f"the middle one within {np.median(list(reach.values())):.0f} mm" in text
    assert f"the least sure, {least}, within {reach[least]:.0f} mm" in text


def test_json_is_one_object_and_nothing_else(
    case: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, err = said(capsys, "fit", case, "-o", tmp_path / "out", "--no-picture", "--json")
    assert (code, err) == (0, "")
    found = json.loads(out)
    assert found["folder"] == str(tmp_path / "out")
    assert found["sites"] == json.loads((tmp_path / "out" / "case.json").read_text())["sites"]


def test_json_tells_a_machine_what_was_wrong(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = said(capsys, "fit", "nowhere.toml", "-o", "x", "--json")
    assert code == 2
    assert json.loads(out)["error"]["code"] == "file-missing"
    assert err == f"headfit: {json.loads(out)['error']['message']}\n"


def test_fit_draws_where_it_can(
    case: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, _ = said(capsys, "fit", case, "-o", tmp_path / "out")
    assert code == 0
    assert "picture.png" in out
    with Image.open(tmp_path / "out" / "picture.png") as image:
        assert image.size == (1600, 1200)


def test_without_a_driver_everything_but_the_picture_is_there_and_no_old_picture(
    case: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_driver(*_: object) -> None:
        raise DrawingError("no picture can be drawn here: no driver", code="no-driver")

    with monkeypatch.context() as drawing:
        drawing.setattr("headfit.output.picture.png_bytes", lambda _: b"of another head")
        assert said(capsys, "fit", case, "-o", tmp_path / "out")[0] == 0
    assert (tmp_path / "out" / "picture.png").read_bytes() == b"of another head"
    monkeypatch.setattr("headfit.output.picture.prepare", no_driver)
    code, out, err = said(capsys, "fit", case, "-o", tmp_path / "out")
    assert (code, err) == (0, "")
    assert "No picture: no picture can be drawn here: no driver" in out
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == MADE
    assert "Removed, because it was of the run before: picture.png." in out
    sentence = refused(capsys, "picture", case, "-o", tmp_path / "p.png")
    assert sentence == "no picture can be drawn here: no driver"


def test_picture_has_the_view_and_size_asked_for(
    case: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "p.png"
    code, out, _ = said(capsys, "picture", case, "-o", path, "--view", "back", "--size", "320x240")
    assert code == 0
    assert "320x240 pixels, seen from back" in out
    with Image.open(path) as image:
        assert image.size == (320, 240)


def test_sites_are_those_of_the_library_in_the_frame_of_the_surface(
    template: tuple[Path, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    surface, marks = template
    table = tmp_path / "sites.tsv"
    code, out, err = said(
        capsys,
        "sites",
        surface,
        "--landmarks",
        marks,
        "--system",
        "10-10",
        "-o",
        table,
        "--rule",
        "inner=parasagittal",
        "--rule",
        "length=skin",
    )
    assert (code, err) == (0, "")
    rows = list(csv.DictReader(io.StringIO(table.read_text()), delimiter="\t"))
    rules = Rules(inner="parasagittal", length="skin")
    expected = place_sites(read_head(surface, marks), "10-10", rules)
    assert [row["name"] for row in rows] == list(expected.names)
    found = [[float(row[axis]) for axis in "xyz"] for row in rows]
    np.testing.assert_allclose(found, expected.points_mm, atol=0.0006)
    assert f"{len(rows)} sites of 10-10 on adult.ply" in out
    assert row_nine_words(expected) in " ".join(out.split())


def test_sites_take_other_units_and_tell_what_was_moved(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    ball = trimesh.creation.icosphere(subdivisions=4, radius=0.09)
    (tmp_path / "ball.stl").write_bytes(ball.export(file_type="stl"))
    (tmp_path / "marks.json").write_text(
        '{"unit": "cm", "nasion": [0, 9.3, 0], "inion": [0, -9, 0],'
        ' "left_preauricular": [-9, 0, 0], "right_preauricular": [9, 0, 0]}'
    )
    code, out, _ = said(
        capsys,
        "sites",
        tmp_path / "ball.stl",
        "--landmarks",
        tmp_path / "marks.json",
        "--unit",
        "m",
        "--system",
        "10-20",
        "-o",
        tmp_path / "s.tsv",
        "--json",
    )
    assert code == 0
    found = json.loads(out)
    # A quarter of the way round a ball of 90 mm, twice: half its circumference.
    assert found["arcs_mm"]["coronal"] == pytest.approx(np.pi * 90, rel=1e-3)
    assert found["landmarks_moved_mm"] == {"nasion": pytest.approx(3.0, abs=0.1)}
    assert found["n_sites"] == 21
    assert found["rules"]["inferior"] == "row"


def test_demo_writes_its_case_and_can_be_repeated(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("headfit.output.picture.png_bytes", lambda _: b"drawn")
    for _ in range(2):
        code, out, err = said(capsys, "demo", tmp_path / "demo", "--no-open")
        assert (code, err) == (0, "")
    assert (tmp_path / "demo" / "case.toml").read_text(encoding="utf-8") == DEMO
    assert (tmp_path / "demo" / "picture.png").read_bytes() == b"drawn"
    assert (tmp_path / "demo" / "sheet.pdf").read_bytes().startswith(b"%PDF-")
    report = (tmp_path / "demo" / "report.html").read_text(encoding="utf-8")
    assert report.startswith("<!doctype html>")
    assert "Invented data" in report
    assert f"headfit fit {tmp_path / 'demo' / 'case.toml'} -o {tmp_path / 'demo'}" in out
    assert "invented" in out


def test_the_demo_writes_over_no_case_that_somebody_changed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    changed = DEMO.replace("head_breadth = 14.2", "head_breadth = 14.4")
    assert changed != DEMO
    (tmp_path / "case.toml").write_text(changed, encoding="utf-8")
    code, _, err = said(capsys, "demo", tmp_path, "--no-open")
    assert code == 2
    assert "a changed one" in err
    assert "headfit fit" in err
    assert [path.name for path in tmp_path.iterdir()] == ["case.toml"]
    assert (tmp_path / "case.toml").read_text(encoding="utf-8") == changed


def test_the_demo_opens_only_in_front_of_a_display(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from headfit.cli import demo

    opened: list[str] = []
    monkeypatch.setattr("webbrowser.open", opened.append)
    monkeypatch.setattr(sys, "platform", "linux")
    for name in ("DISPLAY", "WAYLAND_DISPLAY"):
        monkeypatch.delenv(name, raising=False)
    (tmp_path / demo.REPORT).touch()
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True)
    demo._open(tmp_path)
    assert opened == []
    monkeypatch.setenv("DISPLAY", ":0")
    demo._open(tmp_path)
    assert opened == [(tmp_path / demo.REPORT).as_uri()]


def test_the_demo_opens_its_result_unless_told_not_to(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    opened: list[Path] = []
    monkeypatch.setattr("headfit.cli.demo._open", opened.append)
    monkeypatch.setattr("headfit.output.picture.png_bytes", lambda _: b"drawn")
    said(capsys, "demo", tmp_path, "--no-open")
    said(capsys, "demo", tmp_path, "--json")
    assert opened == []
    said(capsys, "demo", tmp_path)
    assert opened == [tmp_path]


def test_on_a_terminal_it_says_what_it_is_doing(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    from rich.console import Console

    shown: list[str] = []
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    status = Console.status
    monkeypatch.setattr(
        Console, "status", lambda self, what: shown.append(what) or status(self, what)
    )
    with Screen().doing("Fitting the head"):
        pass
    with Screen(as_json=True).doing("not for a machine"):
        pass
    assert shown == ["Fitting the head"]


def test_window_shows_the_scene_of_the_case(
    case: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    shown: list[tuple[str, str]] = []
    monkeypatch.setattr(
        "headfit.output.picture.open_window", lambda scene, view: shown.append((scene.title, view))
    )
    assert said(capsys, "window", case, "--view", "top")[0] == 0
    assert shown == [(demo_result().case.label, "top")]


def test_measurements_are_listed_with_how_they_are_taken(
    capsys: pytest.CaptureFixture[str],
) -> None:
    code, out, _ = said(capsys, "measurements")
    assert code == 0
    for name, kind in MEASUREMENTS.items():
        assert name in out.splitlines()
        assert kind.how in out
    found = json.loads(said(capsys, "measurements", "--json")[1])["measurements"]
    declared = [dataclasses.asdict(kind) for kind in MEASUREMENTS.values()]
    assert found == json.loads(json.dumps(declared))
    assert found[0]["arcs"] == ["midline"]


def test_doctor_says_it_and_fails_only_when_something_is_broken(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    code, out, _ = said(capsys, "doctor")
    assert code == 0
    assert f"headfit: version {__version__}" in out
    monkeypatch.setattr("headfit.output.doctor.ALWAYS_NEEDED", ("no-such-package",))
    code, out, _ = said(capsys, "doctor", "--json")
    assert code == 1
    states = {entry["part"]: entry["state"] for entry in json.loads(out)["findings"]}
    assert states["packages"] == "broken"


def test_help_before_a_command_lists_every_command(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(["--help", "fit"])
    listed = capsys.readouterr().out
    assert all(f"\n    {name} " in listed or f"\n    {name}\n" in listed for name in COMMANDS)


def test_the_dataset_gives_a_moved_site_where_it_stands(
    case: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    place = '[[free]]\nsite = "P3"\nradius_mm = 14\nreason = "wound"\n'
    case.write_text(f"{TEXT}\n{place}", encoding="utf-8")
    code, _, err = said(capsys, "fit", case, "-o", tmp_path / "out", "--no-picture")
    assert (code, err) == (0, "")
    handed = export("bids", CaseView(solve_case(read_case(case))), case.name)
    with zipfile.ZipFile(io.BytesIO(handed.contents)) as archive:
        for name in archive.namelist():
            assert archive.read(name) == (tmp_path / "out" / name).read_bytes()
        (table,) = (name for name in archive.namelist() if name.endswith("electrodes.tsv"))
        rows = csv.DictReader(io.StringIO(archive.read(table).decode()), delimiter="\t")
        moved = {row["name"] for row in rows if row["status"] == "moved"}
    assert moved == {"P3", "P4"}
