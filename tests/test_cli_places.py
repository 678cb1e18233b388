"""The command that tells at which site unnamed marks lie, on invented files."""

import json
from hashlib import sha256
from pathlib import Path

import numpy as np
import pytest
from commands import said
from marked_heads import template_sites, three_of

import headfit
from headfit.marks.site_names import LANDMARK_KEYS

SITES = template_sites("10-20")


def numbered(path: Path, *, landmarks: bool, metres: bool = False) -> Path:
    """A table of numbered marks 1.5 mm per axis off the sites of the template."""
    rng = np.random.default_rng(3)
    points = SITES.points_mm + rng.normal(scale=1.5, size=SITES.points_mm.shape)
    rows = [(f"E{i + 1}", *point) for i, point in enumerate(points.tolist())]
    if landmarks:
        known = three_of(headfit.load_template()).items()
        rows += [(LANDMARK_KEYS[name], *point.tolist()) for name, point in known]
    unit, scale = ("m", 1e-3) if metres else ("mm", 1.0)
    lines = [f"{name},{x * scale},{y * scale},{z * scale}" for name, x, y, z in rows]
    path.write_text("\n".join([f"name,x_{unit},y_{unit},z_{unit}", *lines, ""]))
    return path


def test_numbered_marks_are_told_their_places(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    marks = numbered(tmp_path / "net.csv", landmarks=True)
    table = tmp_path / "places.tsv"
    code, out, err = said(capsys, "places", marks, "--system", "10-20", "-o", table)
    assert (code, err) == (0, "")
    assert out.startswith("19 marks: ")
    header, *rows = table.read_text().splitlines()
    assert header == "name\tsite\tdistance_mm\tnext_site\tnext_distance_mm\tsure"
    found = {row.split("\t")[0]: row.split("\t")[1] for row in rows if row.endswith("yes")}
    assert len(found) >= 15
    assert all(SITES.names[int(name[1:]) - 1] == site for name, site in found.items())
    _, as_json, _ = said(capsys, "places", marks, "--system", "10-20", "--json")
    assert len(json.loads(as_json)["guesses"]) == len(rows)


def test_without_landmarks_and_axes_the_template_serves_and_the_doubt_is_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    marks = numbered(tmp_path / "net.csv", landmarks=False)
    code, out, err = said(capsys, "places", marks, "--system", "10-20")
    assert (code, err) == (0, "")
    assert "doubt: nothing tells which way the axes run" in out
    places = dict(line.strip().split(",")[0].split(": ") for line in out.splitlines()[1:20])
    assert places == {f"E{i + 1}": name for i, name in enumerate(SITES.names)}


def test_what_was_found_in_a_file_is_said_even_when_the_comparison_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    marks = numbered(tmp_path / "net.csv", landmarks=False)
    text = marks.read_text().replace("_mm", "")
    marks.write_text(text)
    code, out, err = said(capsys, "compare", marks, "-o", tmp_path / "out", "--no-picture")
    assert code == 2
    assert "correction: marks have no unit and are taken as mm" in out
    assert "doubt: nothing tells which way the axes run" in out
    assert "headfit compare CASE.toml MARKS" in err
    assert not (tmp_path / "out").exists()


def test_marks_that_reach_farther_along_x_are_said_to_run_to_the_front(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    marks = numbered(tmp_path / "net.csv", landmarks=False)
    header, *rows = marks.read_text().splitlines()
    turned = []
    for row in rows:
        name, x, y, z = row.split(",")
        turned.append(f"{name},{y},{-float(x)},{z}")
    marks.write_text("\n".join([header, *turned, ""]))
    _, out, _ = said(capsys, "places", marks, "--system", "10-20")
    assert "x to the front, y to the left, z up (ALS)" in out


def test_a_comparison_names_its_command_and_what_it_read_by_checksum(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rows = zip(SITES.names, SITES.points_mm.tolist(), strict=True)
    known = three_of(headfit.load_template()).items()
    lines = [f"{n},{x:.2f},{y:.2f},{z + 0.01:.2f}" for n, (x, y, z) in rows]
    lines += [f"{LANDMARK_KEYS[n]},{x:.2f},{y:.2f},{z:.2f}" for n, (x, y, z) in known]
    marks = tmp_path / "my marks.csv"
    marks.write_text("\n".join(["name,x_mm,y_mm,z_mm", *lines, ""]))
    out = tmp_path / "out"
    said(capsys, "compare", marks, "-o", out, "--no-picture", "--bands", "4,8")
    found = json.loads((out / "comparison.json").read_text())
    assert found["command"] == "headfit compare 'my marks.csv' --bands 4,8"
    checksum = sha256(marks.read_bytes()).hexdigest()
    assert found["read"] == [{"name": "my marks.csv", "sha256": checksum}]
    assert found["head"]["from"] == "marks"
    assert set(found["head"]["landmarks_mm"]) == {"NAS", "INI", "LPA", "RPA"}
    assert found["methods"].startswith("19 digitised marks were compared")
    assert str(tmp_path) not in (out / "comparison.json").read_text()
