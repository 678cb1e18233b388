"""Causes of every message: code -> a function that raises it, or returns its remarks or refusal.

They run in an empty folder, so that file names in the sentences are short. All data are invented.
"""

from __future__ import annotations

import errno
import os
import sys
from contextlib import suppress
from pathlib import Path
from unittest.mock import patch

import numpy as np
from causes_of_marks import CAUSES_OF_MARKS, HEAD_LANDMARKS, POINTS, SITES, Cause, few, wrote
from causes_of_studies import CAUSES_OF_STUDIES
from marked_heads import landmarks_of
from solids import SPHERE_A, direction, turn, unit_sphere
from starlette.testclient import TestClient

from headfit import Head, Landmarks, Tape, cli, fit_head, load_template, place_sites
from headfit.anatomy import arcs, template
from headfit.anatomy.sites import canonical_name
from headfit.app import guard
from headfit.app.changes import changed_case
from headfit.app.desk import Desk
from headfit.app.marks_files import checked_marks
from headfit.app.serve import serve
from headfit.app.server import make_app
from headfit.case.case import Case
from headfit.case.record import ChartedElectrode, SetUpRecord
from headfit.cli import Parser, build_parser
from headfit.cli.compare import bands_of
from headfit.cli.demo import run as run_demo
from headfit.cli.derivations import run as run_derivations
from headfit.cli.picture import size_of
from headfit.cli.samples import run as run_samples
from headfit.cli.screen import Screen
from headfit.cli.sites import rules_of
from headfit.comparing.head_from_marks import head_under
from headfit.files import mesh_libraries, result_folder
from headfit.files.bids_record import read_record
from headfit.files.case_file import read_case
from headfit.files.chair_notes import with_chair_notes
from headfit.files.citation import citation_file
from headfit.files.formats import check_ending
from headfit.files.landmark_files import read_landmarks
from headfit.files.lesson_file import read_lesson
from headfit.files.limits import REQUEST_BYTES
from headfit.files.lock import FileLock
from headfit.files.manifest import MANIFEST
from headfit.files.marks_files import read_marks
from headfit.files.montage_file import read_montage
from headfit.files.result_folder import write_folder
from headfit.files.surfaces import read_surface
from headfit.files.whole import read_text, write_whole
from headfit.fitting.point_fit import fit_points
from headfit.geometry.mesh import TriangleMesh
from headfit.geometry.sections import cut
from headfit.output import driver, report
from headfit.output.picture import load_libraries
from headfit.output.typesetting import clean
from headfit.planning.derivations import measure_montage
from headfit.planning.displacement import displace
from headfit.planning.montages import (
    Chain,
    Derivation,
    montage_from_csv,
    site_list_from_text,
    standard_montages,
)
from headfit.planning.obstacles import disc, polygon

MEASURED = '[tape]\nunit = "cm"\nring = 56.6'

# A ball of 90 mm stands for a head.
UNIT, FACES = unit_sphere(3, turn(1))
BALL = 90.0 * UNIT
WHOLE = TriangleMesh(BALL, FACES)
PLY = (
    "ply\nformat ascii 1.0\nelement vertex 3\nproperty float x\nproperty float y\n"
    "property float z\nelement face 1\nproperty list uchar int vertex_indices\nend_header\n"
)


def ball(scale: float = 1.0, **landmarks: np.ndarray) -> Head:
    named = dict(zip(landmarks_of(load_template()), SPHERE_A.landmarks, strict=True))
    return Head(scale * BALL, FACES, Landmarks(**(named | landmarks)))


def with_ears_exchanged() -> Head:
    head = load_template()
    nasion, inion, left, right = head.landmarks
    return Head(head.vertices_mm, head.faces, Landmarks(nasion, inion, right, left))


def holed() -> TriangleMesh:
    gone = UNIT @ direction(40.0, 0.0) > np.cos(np.radians(15))
    return TriangleMesh(BALL, FACES[~gone[FACES].any(axis=1)])


def with_one_triangle_turned() -> TriangleMesh:
    faces = np.array(FACES)
    faces[10] = faces[10, ::-1]
    return TriangleMesh(BALL, faces)


def case(text: str) -> Case:
    return read_case(wrote("case.toml", text))


def landmark_file(text: str) -> object:
    return read_landmarks(wrote("landmarks.json", text))


def surface(name: str, text: str) -> object:
    return read_surface(wrote(name, text))


def own_list(text: str) -> object:
    return read_montage(wrote("own.toml", text))


def never_settling() -> object:
    with patch.object(arcs, "CZ_SETTLED_MM", 0.0):
        return place_sites(load_template(), "10-20")


def half_installed(read: Cause) -> object:
    with patch.object(Path, "is_file", return_value=False):
        return read()


def without_permission() -> object:
    wrote("case.toml", MEASURED)
    denied = PermissionError(errno.EACCES, "Permission denied")
    with patch.object(os, "open", side_effect=denied):
        return read_text("case.toml")


def on_a_full_disk() -> object:
    full = OSError(errno.ENOSPC, "No space left on device")
    with patch.object(os, "fsync", side_effect=full):
        return write_whole("sites.tsv", "name\n")


def started_in_a_removed_folder() -> object:
    with patch.object(Path, "cwd", side_effect=FileNotFoundError):
        return cli._run(["measurements"], Screen())


def results(folder: Path, run: str = "fit") -> object:
    return write_folder(folder, {"case.json": run, "head.ply": run}, run=run)


def results_of_a_result() -> object:
    results(Path("out"))
    return write_folder("out", {"x": ""}, run="fit", inputs=[Path("out/case.json")])


def results_while_another_writes() -> object:
    Path("out").mkdir()
    lock = FileLock(Path("out", ".headfit-lock"))
    assert lock.take()
    with patch.object(result_folder, "_PATIENCE_S", 0.0):
        try:
            return results(Path("out"))
        finally:
            lock.release()


class Killed(BaseException):
    """Ends a run half-way."""


def results_stopped(how: BaseException) -> object:
    results(Path("out"))
    Path("out/case.json").write_text("of the run before")
    with patch.object(result_folder, "_move_file", side_effect=how), suppress(Killed):
        results(Path("out"))
    return None


def without_driver(where: driver.Where) -> object:
    with (
        patch.object(sys, "platform", "linux"),
        patch.dict(os.environ, clear=True),
        patch("subprocess.run", side_effect=OSError),
    ):
        return driver.find_driver.__wrapped__(where)


def without_vtk() -> object:
    with patch.object(mesh_libraries, "find_spec", return_value=None):
        return surface("head.vtp", "<VTKFile>")


def without_pyvista() -> object:
    missing = ModuleNotFoundError("No module named 'pyvista'", name="pyvista")
    with patch("headfit.output.picture.import_module", side_effect=missing):
        return load_libraries("pyvista")


def samples_twice() -> object:
    wrote("case.toml", MEASURED)
    return run_samples(build_parser().parse_args(["samples", "."]), Screen())


def no_derivations() -> object:
    wrote("case.toml", MEASURED)
    return run_derivations(build_parser().parse_args(["derivations", "case.toml"]), Screen())


# The app, asked by somebody who is refused.
HOST = "127.0.0.1:8000"
KEY = {"Authorization": "Bearer key"}


def desk() -> Desk:
    return Desk.open(wrote("case.toml", MEASURED))


def asked(path: str, *, key: bool = True, body: bytes | None = None, **headers: str) -> object:
    app = make_app(desk(), "key", (HOST,))
    client = TestClient(app, base_url=f"http://{HOST}", raise_server_exceptions=False)
    given = (KEY if key else {}) | {name.replace("_", "-"): v for name, v in headers.items()}
    if body is None:
        return client.get(f"/api/{path}", headers=given).json()
    return client.post(f"/api/{path}", content=body, headers=given).json()


def asked_of_a_broken_app() -> object:
    with patch("headfit.app.server.listed_cases", side_effect=RuntimeError):
        return asked("cases")


def asked_too_slowly() -> object:
    with patch.object(guard, "BODY_S", -1.0):
        return asked("change", body=b"{}", content_type="application/json")


def marks_elsewhere() -> object:
    wrote("marks.tsv", "name")
    named = f'{MEASURED}\n[marks]\nfile = "../marks.tsv"'
    raise Desk.open(wrote("cases/case.toml", named)).case.problems["marks"]


def saved_over_another_program() -> object:
    mine = desk()
    mine.put(changed_case(mine.case, {"label": "mine"}, Path()))
    wrote("case.toml", f"{MEASURED}  # by another program")
    return mine.save()


def changed_demo() -> object:
    folder = Path("demo")
    folder.mkdir()
    (folder / "case.toml").write_text("# mine", encoding="utf-8")
    return run_demo(demo_parser().parse_args(["demo", str(folder)]), Screen())


def demo_parser() -> Parser:
    return build_parser(("demo",))


def changed(change: object) -> object:
    return changed_case(Case(), change, Path())


LESSON = """[lesson]
name = "own"
title = "T"

[[step]]
name = "first"
title = "First"
caption = "{length midline}"
camera = "left"
ask = { text = "How long?", answer = "1", wrong = ["2"], again = "first" }
"""


def lesson_with(old: str, new: str) -> object:
    """What is said of a lesson in which something is changed."""
    assert old in LESSON
    return read_lesson(wrote("own.toml", LESSON.replace(old, new, 1)))


CAUSES: dict[str, Cause] = {
    # the measurement sheet and the fit
    "tape-range": lambda: Tape(nasion_inion_mm=36.0),
    "not-a-number": lambda: Tape(ring_mm=float("nan")),
    "unit-missing": lambda: case("[tape]\nnasion_inion = 36.0"),
    "sheet-empty": Tape,
    "sheet-contradiction": lambda: Tape(ring_mm=350, preauricular_arc_mm=355),
    "spread-range": lambda: Tape(ring_mm=560, spreads_mm={"ring": 0}),
    "sheet-no-head": lambda: fit_head(Tape(ring_mm=380, nasion_inion_mm=260), "adult"),
    "points-too-few": lambda: head_under(few(5)),
    "points-no-head": lambda: fit_points(HEAD_LANDMARKS, POINTS * [3.0, 1.0, 1.0]),
    "unknown-name": lambda: canonical_name("Fzz"),
    # landmarks and head surfaces
    "landmark-missing": lambda: landmark_file('{"unit": "mm", "nasion": [0, 95, 0]}'),
    "landmark-not-finite": lambda: landmark_file('{"unit": "mm", "nasion": [0, 95]}'),
    "landmark-too-near": lambda: Landmarks(*(0.001 * p for p in SPHERE_A.landmarks)),
    "landmark-off-surface": lambda: ball(inion=np.array([0.0, -120.0, 0.0])),
    "landmarks-exchanged": with_ears_exchanged,
    "mesh-shape": lambda: TriangleMesh(BALL[:, :2], FACES),
    "mesh-not-finite": lambda: TriangleMesh([[0, 0, 0], [1, 0, 0], [0, np.nan, 0]], [[0, 1, 2]]),
    "mesh-corner-range": lambda: TriangleMesh([[0, 0, 0], [1, 0, 0], [0, 1, 0]], [[0, 1, 3]]),
    "mesh-winding": lambda: with_one_triangle_turned().neighbours,
    "mesh-size": lambda: ball(0.001),
    "mesh-pieces": lambda: Head(
        np.vstack([BALL, BALL / 2]), np.vstack([FACES, FACES + len(BALL)]), SPHERE_A.landmarks
    ),
    "mesh-inside-out": lambda: Head(BALL, FACES[:, ::-1], SPHERE_A.landmarks),
    "mesh-parts": lambda: Head(BALL, FACES, SPHERE_A.landmarks, np.zeros(3)),
    "mesh-flat": lambda: surface("head.ply", PLY + "0 0 0\n" * 3 + "3 0 1 2\n"),
    "surface-kind": lambda: surface("head.stp", "x"),
    "surface-unreadable": lambda: surface("head.ply", "ply\nformat ascii 1.0\nend\n"),
    "surface-truncated": lambda: surface(
        "head.stl", "solid head\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\n"
    ),
    "surface-no-triangles": lambda: surface("head.obj", "v 0 0 0\nv 1 0 0\nv 0 1 0\n"),
    "template-missing": lambda: half_installed(template.meshes_folder),
    "citation-missing": lambda: half_installed(citation_file),
    # arcs, sites and rules
    "arc-in-line": lambda: cut(WHOLE, *np.array([[90.0, 0, 0], [0, 0, 0], [-90, 0, 0]])),
    "arc-misses": lambda: cut(WHOLE, *np.array([[0.0, 0, 99], [9, 0, 99], [0, 9, 99]])),
    "arc-interrupted": lambda: cut(holed(), *(90 * direction(p, 0.0) for p in (80.0, 0.0, -80.0))),
    "arc-beyond": lambda: SITES.tracer.run("midline").after_end_mm(900.0),
    "cz-not-settled": never_settling,
    "rule-syntax": lambda: rules_of(["inner"]),
    "rule-twice": lambda: rules_of(["inner=row", "inner=crossing"]),
    # files
    "file-missing": lambda: read_text("case.toml"),
    "file-is-folder": lambda: read_text(wrote("cases/a.toml", MEASURED).parent),
    "file-unreadable": without_permission,
    "file-too-long": lambda: read_marks(wrote("marks.csv", b" " * 4_000_001)),
    "file-not-written": on_a_full_disk,
    "not-a-folder": lambda: results(wrote("out", "mine")),
    "folder-gone": started_in_a_removed_folder,
    "folder-busy": results_while_another_writes,
    "folder-of-another": lambda: [results(Path("out"), run) for run in ("fit", "compare")],
    "folder-of-input": results_of_a_result,
    "folder-half-written": lambda: results_stopped(PermissionError(errno.EACCES, "Denied")),
    "folder-unfinished": lambda: [results_stopped(Killed()), read_text("out/case.json")],
    "folder-of-two-runs": lambda: [results(Path("out")), read_text(wrote("out/case.json", "x"))],
    "manifest-form": lambda: results(wrote(f"out/{MANIFEST}", "{}").parent),
    "not-utf-8": lambda: read_text(wrote("case.toml", 'label = "Zoë"'.encode("latin-1"))),
    "toml-decimal-comma": lambda: case("[tape]\nunit = 'cm'\nnasion_inion = 36,0"),
    "toml-syntax": lambda: case("[tape]\nunit = cm"),
    "case-entry": lambda: case(f"[case]\nage = true\n{MEASURED}"),
    "json-syntax": lambda: landmark_file('{"unit": "mm", "nasion": [0, 95'),
    "json-not-object": lambda: landmark_file("[[0, 95, 0]]"),
    "json-twice": lambda: landmark_file('{"unit": "mm", "unit": "cm"}'),
    "json-constant": lambda: landmark_file('{"unit": "mm", "nasion": [0, NaN, 0]}'),
    **CAUSES_OF_MARKS,
    **CAUSES_OF_STUDIES,
    # derivations
    "derivation-form": lambda: Derivation.from_text("Fp1"),
    "derivation-to-itself": lambda: Derivation("T3", "T7"),
    "derivation-missing": lambda: measure_montage(standard_montages()["longitudinal"], SITES)[
        "Fp1-O2"
    ],
    "derivations-missing": no_derivations,
    "derivations-empty": lambda: montage_from_csv("first,second\n"),
    "derivation-columns": lambda: montage_from_csv("first,to\nFp1,F7\n"),
    "chain-short": lambda: Chain.through("left", ["Fp1"]),
    "montage-empty": lambda: own_list('name = "mine"\n'),
    "key-missing": lambda: own_list('[[montage]]\nname = "mine"\n'),
    "value-kind": lambda: own_list('[[montage]]\nname = "mine"\nchains = "Fp1-F3"\n'),
    "sites-empty": lambda: site_list_from_text("# nothing yet\n"),
    # places that must stay free
    "free-point": lambda: disc(SITES, [0.0, 90.0], 15.0, "wound"),
    "free-off-scalp": lambda: disc(SITES, [0.0, 0.0, 9.0], 15.0, "wound"),
    "free-range": lambda: disc(SITES, "F3", 0.5, "wound"),
    "free-reason": lambda: disc(SITES, "F3", 15.0, " "),
    "free-corners": lambda: polygon(SITES, ["F3", "C3"], "dressing"),
    "free-round-head": lambda: polygon(SITES, ["Fpz", "T7", "Oz", "T8"], "dressing"),
    "free-covers-head": lambda: displace(SITES, [disc(SITES, "Cz", 150.0, "dressing")]),
    # the set-up record
    "impedance-range": lambda: ChartedElectrode("C3", impedance_kohm=4500),
    "record-left-out": lambda: ChartedElectrode("C3", applied=False, impedance_kohm=4),
    "record-twice": lambda: SetUpRecord(
        (ChartedElectrode("T3", True), ChartedElectrode("T7", True))
    ),
    "record-lead": lambda: SetUpRecord(other_leads=(ChartedElectrode("C3"),)),
    "record-header": lambda: read_record(wrote("electrodes.tsv", "name\tx\ty\tz\n")),
    "chair-notes": lambda: with_chair_notes(Case(), wrote("chair-notes.json", "{}")),
    "chair-other-case": lambda: with_chair_notes(
        Case(), wrote("chair-notes.json", '{"headfit_chair": 1, "label": "another head"}')
    ),
    # lessons
    "lesson-entry": lambda: lesson_with('title = "T"', ""),
    "lesson-camera": lambda: lesson_with('camera = "left"', ""),
    "lesson-number": lambda: lesson_with("{length midline}", "{length}"),
    "lesson-nowhere": lambda: lesson_with('again = "first"', 'again = "frist"'),
    # sheet, picture and the terminal
    "cannot-print": lambda: clean("שלום", "label"),
    "no-driver": lambda: without_driver("off-screen"),
    "no-display": lambda: without_driver("window"),
    "samples-there": samples_twice,
    "no-drawing-library": without_pyvista,
    "surface-no-vtk": without_vtk,
    "output-name": lambda: check_ending("the picture", "head.jpg", ".png"),
    "picture-size": lambda: size_of("big"),
    "bands": lambda: bands_of("10,5"),
    "command-line": lambda: build_parser().parse_args(["fit", "case.toml"]),
    # the app and the report
    "token": lambda: asked("state", key=False),
    "host": lambda: asked("state", host="elsewhere.example"),
    "origin": lambda: asked("state", origin="http://elsewhere.example"),
    "http": lambda: asked("nothing"),
    "too-long": lambda: asked("change", body=b" " * (REQUEST_BYTES + 1)),
    "broken": asked_of_a_broken_app,
    "revision-form": lambda: desk().check("1"),
    "conflict": lambda: desk().check(7),
    "file-elsewhere": marks_elsewhere,
    "too-slow": asked_too_slowly,
    "conflict-file": saved_over_another_program,
    "no-step": lambda: desk().step("undo"),
    "case-name": lambda: desk().save("../case.toml"),
    "change-form": lambda: changed([]),
    "refused": lambda: changed({"tape": {"nasion_inion": "362"}}),
    "marks-files": lambda: checked_marks([]).__enter__(),
    "demo-changed": changed_demo,
    "port": lambda: serve(None, port=70_000, open_browser=False, say=print),
    "viewer-missing": lambda: half_installed(lambda: report.built_file("view.js")),
}
