"""The command that holds marks against the sites of a head, on invented files."""

import json
from pathlib import Path

import numpy as np
import pytest
from commands import refused, said
from dirty_marks import EXCHANGED, OFF, dirty_marks
from marked_heads import template_sites

import headfit
from headfit.files.marks_files import read_marks

CASE = Path(headfit.__file__).parent / "demo" / "case.toml"
SITES = template_sites("10-20")


@pytest.fixture
def marks_file(tmp_path: Path) -> Path:
    path = tmp_path / "marks.tsv"
    path.write_bytes(dirty_marks().encode())
    return path


def session(path: Path, seed: int) -> Path:
    rng = np.random.default_rng(seed)
    points = SITES.points_mm + rng.normal(scale=2.0, size=SITES.points_mm.shape)
    rows = zip(SITES.names, points.tolist(), strict=True)
    path.write_text(
        "name,x_mm,y_mm,z_mm\n" + "".join(f"{n},{x},{y},{z}\n" for n, (x, y, z) in rows)
    )
    return path


def test_a_comparison_writes_its_folder_and_one_screen(
    marks_file: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, err = said(
        capsys, "compare", CASE, marks_file, "-o", tmp_path / "out", "--corrected", "--no-picture"
    )
    assert (code, err) == (0, "")
    assert len(out.splitlines()) <= 40
    written = {str(p.relative_to(tmp_path / "out")) for p in (tmp_path / "out").rglob("*.*")}
    assert written == {
        "deviations.tsv",
        "comparison.json",
        "corrected/electrodes.tsv",
        "corrected/coordsystem.json",
        "headfit-manifest.json",
    }
    found = json.loads((tmp_path / "out" / "comparison.json").read_text())
    assert [set(m["names"]) for m in found["mixups"]] == [set(EXCHANGED)]
    assert found["stands_out"] == [OFF]
    kinds = {remark["code"]: remark["kind"] for remark in found["remarks"]}
    assert kinds["names-respelled"] == kinds["unit-deduced"] == "correction"
    again = read_marks(tmp_path / "out" / "corrected" / "electrodes.tsv", strict=True)
    assert "C3" in again.names  # the exchange is told and never applied


def test_strict_refuses_and_writes_nothing(
    marks_file: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = refused(capsys, "compare", CASE, marks_file, "-o", tmp_path / "out", "--strict")
    assert text.startswith("marks.tsv must need no correction when read strictly, got: ")
    assert not (tmp_path / "out").exists()


def test_without_a_head_the_marks_are_the_head(
    marks_file: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, _ = said(
        capsys, "compare", marks_file, "-o", tmp_path / "out", "--no-picture", "--json"
    )
    assert code == 0
    codes = [remark["code"] for remark in json.loads(out)["comparison"]["remarks"]]
    assert "head-from-marks" in codes


def test_repeat_sessions_tell_how_far_each_site_comes_back(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    files = [session(tmp_path / f"{k}.csv", seed=k) for k in (1, 2, 3)]
    code, out, err = said(capsys, "compare", "--sessions", *files, "-o", tmp_path / "out")
    assert (code, err) == (0, "")
    # The median length of the difference of two draws of 2 mm per axis is 2 * sqrt(2) * 1.54 mm;
    # six of 57 coordinates go into each fit.
    found = json.loads((tmp_path / "out" / "repeats.json").read_text())
    assert found["by_fit_mm"] == pytest.approx(4.35, abs=1.0)
    assert found["by_landmarks_mm"] is None
    lines = (tmp_path / "out" / "repeats.tsv").read_text().splitlines()
    assert lines[0] == "name\tn_sessions\tby_landmarks_mm\tby_fit_mm"
    assert len(lines) == 1 + len(SITES.names)
    assert out.startswith("Over 3 sessions half of the marks come back within ")
    assert "About the files:" in out
    python = headfit.compare_sessions([headfit.read_marks(path) for path in files])
    assert python.by_fit_mm == pytest.approx(found["by_fit_mm"], abs=1e-3)


def test_a_copied_session_is_doubted(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    one, two = session(tmp_path / "1.csv", 1), session(tmp_path / "2.csv", 1)
    _, out, _ = said(capsys, "compare", "--sessions", one, two, "-o", tmp_path / "out")
    assert "doubt: sessions 1 and 2 hold the same places to 0.1 mm" in out


@pytest.mark.parametrize(("system", "rule"), [("10-10", "row"), ("10-5", "contour")])
def test_marks_are_held_against_row_nine_as_the_system_of_the_case_has_it(
    system: str, rule: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The marks alone, all of 10-10, would be judged by its definition."""
    case = tmp_path / "case.toml"
    text = CASE.read_text(encoding="utf-8")
    assert text.count('system = "10-20"') == 1
    case.write_text(text.replace('system = "10-20"', f'system = "{system}"'), encoding="utf-8")
    sites = template_sites("ifcn-25")
    marks = tmp_path / "marks.csv"
    head = headfit.load_template().landmarks
    ears = {"NAS": head.nasion, "LPA": head.left_preauricular, "RPA": head.right_preauricular}
    rows = [*zip(sites.names, sites.points_mm.tolist(), strict=True), *ears.items()]
    marks.write_text(
        "name,x_mm,y_mm,z_mm\n" + "".join(f"{n},{x},{y},{z}\n" for n, (x, y, z) in rows)
    )
    code, out, _ = said(capsys, "compare", case, marks, "-o", tmp_path / "out", "--json")
    assert code == 0
    found = json.loads((tmp_path / "out" / "comparison.json").read_text())
    assert found["rules"]["inferior"] == rule
    (noted,) = [r["sentence"] for r in found["remarks"] if r["code"] == "compare-row-nine"]
    assert json.dumps(noted) in out


def test_what_is_no_head_is_refused_with_what_may_have_been_meant(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    one, two = session(tmp_path / "1.csv", 1), session(tmp_path / "2.csv", 2)
    out = ("-o", tmp_path / "out")
    assert refused(capsys, "compare", one, two, *out) == (
        "the head must be a case file CASE.toml or a surface .ply, .obj, .stl, .off, "
        ".glb, .vtp or .gii, got 1.csv (for repeat sessions add --sessions)"
    )
    assert "add --sessions" in refused(capsys, "compare", one, two, two, *out)
    (tmp_path / "head.ply").write_text("ply\n")
    assert "must come with its landmarks" in refused(
        capsys, "compare", tmp_path / "head.ply", two, *out
    )
    assert "two or more" in refused(capsys, "compare", "--sessions", one, *out)
