"""A head that can be measured: a surface, four landmarks on it, and which part is which.

Millimetres, any frame. Arcs run over the bare scalp: where the parts are labelled, the ears are
replaced by a smooth patch first, because a tape runs behind and in front of them, never over.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, Protocol

import numpy as np

from headfit.anatomy.landmarks import NAMES, TITLES, Landmarks
from headfit.errors import LandmarkError, MeshError, sentence
from headfit.geometry.mesh import Floats, Integers, TriangleMesh, frozen
from headfit.geometry.surface import membrane, nearest
from headfit.hooks import hook
from headfit.nouns import Noun
from headfit.units import MM_PER_UNIT, plain

SCALP, FACE, EAR, NECK, CAP = range(5)
PART_NAMES = ("scalp", "face", "ear", "neck", "cap")

# A landmark this far off is a wrong file or a wrong unit, not a wobbly hand.
LANDMARK_OFF_MM = 10.0
# Of the diagonal of the bounding box: from a newborn's bare vault to a bust with shoulders; a usual
# head with face and neck lies between.
_LEAST_ACROSS_MM, _USUAL_ACROSS_MM, _MOST_ACROSS_MM = 120.0, 400.0, 1500.0


@dataclass(frozen=True, eq=False)
class Head(Noun):
    """A head surface with its landmarks.

    Parameters
    ----------
    vertices_mm : (n, 3) array_like
    faces : (m, 3) array_like of int
        Wound so that normals point outwards.
    landmarks : Landmarks
        In the frame of the vertices. Up to 10 mm off the surface they are moved to its nearest
        place; `landmark_offsets_mm` tells by how much.
    part : (n,) array_like of int, optional
        Index into `PART_NAMES` for each vertex.
    label : str
        Said wherever the head is shown.

    Raises
    ------
    MeshError
        More than one piece, inside-out, or a size no head has.
    LandmarkError
        A landmark lies off the surface, or left and right are exchanged.
    """

    vertices_mm: Floats
    faces: Integers
    landmarks: Landmarks
    part: Integers | None = None
    label: str = ""
    landmark_offsets_mm: Floats = field(init=False)

    def __post_init__(self) -> None:
        mesh = TriangleMesh(self.vertices_mm, self.faces)
        object.__setattr__(self, "vertices_mm", mesh.vertices_mm)
        object.__setattr__(self, "faces", mesh.faces)
        self.__dict__["surface"] = mesh
        if self.part is not None:
            part = np.array(self.part, dtype=np.int64)
            if part.shape != (len(mesh.vertices_mm),):
                raise MeshError(
                    sentence(
                        "part labels",
                        f"be {len(mesh.vertices_mm)}, one for each vertex",
                        f"shape {part.shape}",
                    ),
                    code="mesh-parts",
                )
            part.setflags(write=False)
            object.__setattr__(self, "part", part)
        _check_surface(mesh)
        places, offsets = nearest(self.bare, self.landmarks.points_mm)
        worst = int(offsets.argmax())
        if offsets[worst] > LANDMARK_OFF_MM:
            raise LandmarkError(
                sentence(
                    TITLES[NAMES[worst]],
                    "lie on the head surface",
                    f"{offsets[worst]:.1f} mm off it",
                    "do landmarks and surface share one frame and unit?",
                ),
                code="landmark-off-surface",
                landmark=NAMES[worst],
                distance_mm=float(offsets[worst]),
            )
        on_surface = Landmarks.from_points(places.on(self.bare.vertices_mm))
        object.__setattr__(self, "landmarks", on_surface)
        object.__setattr__(self, "landmark_offsets_mm", offsets)
        _check_sides(mesh, on_surface)

    @cached_property
    def surface(self) -> TriangleMesh:
        """The whole surface, ears included; made when the head is."""
        return TriangleMesh(self.vertices_mm, self.faces)

    @cached_property
    def bare(self) -> TriangleMesh:
        """The whole surface with the ears smoothed away where they are labelled."""
        if self.part is None or not (self.part == EAR).any():
            return self.surface
        # The vertices round an ear lie on its flank: a patch hung from them would bulge by 8 mm.
        ear = self.part == EAR
        foot = ear.copy()
        foot[self.faces[ear[self.faces].any(axis=1)]] = True
        left, right = self.landmarks.left_preauricular, self.landmarks.right_preauricular
        on_right = (self.vertices_mm - (left + right) / 2) @ (right - left) > 0
        # One ear after the other: half as many unknowns take an eighth of the time.
        bare = self.surface
        for side in (on_right, ~on_right):
            bare = bare.moved(membrane(bare, foot & side))
        return bare

    @cached_property
    def scalp(self) -> TriangleMesh:
        """The part of the bare surface on which arcs run, on the same vertices.

        What lies more than 35 mm below the lowest landmark (for a preauricular width of 145 mm)
        meets no arc and only costs time.
        """
        right = self.landmarks.right_preauricular
        scale = float(np.linalg.norm(right - self.landmarks.left_preauricular)) / 145.0
        rotation, translation = self.landmarks.frame
        height = self.bare.vertices_mm @ rotation[2] + translation[2]
        lowest = min(0.0, float(rotation[2] @ self.landmarks.inion + translation[2]))
        kept = (height[self.faces] > lowest - 35.0 * scale).any(axis=1)
        return self.bare.part(kept)

    def __getstate__(self) -> dict[str, Any]:
        # Of a deformed head the surfaces beneath the ears are given, not computed from the rest.
        return dict(vars(self))

    def __repr__(self) -> str:
        return (
            f"Head({self.label!r}, {len(self.vertices_mm)} vertices, {len(self.faces)} triangles)"
        )

    def deformed(
        self, vertices_mm: Floats, bare_mm: Floats, landmarks: Landmarks, label: str
    ) -> Head:
        """The same triangles and parts on other vertices, for a fit that moves them smoothly.

        Parameters
        ----------
        vertices_mm, bare_mm : (n, 3) float64
            With ears and with the ears smoothed away.
        landmarks : Landmarks
            On the bare surface.
        label : str
        """
        copy = object.__new__(Head)
        vertices, bare = frozen(vertices_mm), self.bare.moved(bare_mm)
        copy.__dict__.update(
            vertices_mm=vertices,
            faces=self.faces,
            landmarks=landmarks,
            part=self.part,
            label=label,
            landmark_offsets_mm=np.zeros(4),
            surface=self.surface.moved(vertices),
            bare=bare,
            scalp=self.scalp.moved(bare.vertices_mm),
        )
        return copy

    def to_trimesh(self) -> Any:
        """A `trimesh.Trimesh` of the whole surface, in mm."""
        return hook("head_to_trimesh")(self)

    def to_pyvista(self) -> Any:
        """A `pyvista.PolyData` of the whole surface, in mm."""
        return hook("head_to_pyvista")(self)

    def _repr_html_(self) -> str:
        """A small drawing, in a notebook."""
        return str(hook("small_drawing")(self))

    def in_own_frame(self) -> Head:
        """The same head in the head frame of its landmarks."""
        rotation, shift = self.landmarks.frame
        return self.deformed(
            self.vertices_mm @ rotation.T + shift,
            self.bare.vertices_mm @ rotation.T + shift,
            self.landmarks.moved(rotation, shift),
            self.label,
        )


def check_size(mesh: TriangleMesh, unit: str = "") -> None:
    """Refuse a surface that is too small or too large for a head.

    Parameters
    ----------
    mesh : TriangleMesh
    unit : {"mm", "cm", "m", "inch"}, optional
        In which its file was read: the sentence then names the unit that would fit.

    Raises
    ------
    MeshError
        Not 120 to 1500 mm across its bounding box.
    """
    size = float(np.linalg.norm(np.ptp(mesh.vertices_mm, axis=0)))
    if _LEAST_ACROSS_MM <= size <= _MOST_ACROSS_MM:
        return
    if unit:
        fitting = _fitting_unit(size / MM_PER_UNIT[unit])
        hint = f"is it --unit {fitting}?" if fitting else "is this the surface of one head?"
    else:
        told = "metres" if size < 1.5 else "centimetres" if size < 120.0 else "micrometres"
        hint = f"are these {told}?"
    raise MeshError(
        sentence(
            "head surface",
            f"measure {_LEAST_ACROSS_MM:.0f} to {_MOST_ACROSS_MM:.0f} mm across its bounding box",
            f"{plain(size)} mm",
            hint,
        ),
        code="mesh-size",
        size_mm=size,
    )


def _fitting_unit(size: float) -> str:
    """The unit in which a size comes nearest to that of a head; empty when none makes it one."""
    sizes_mm = {unit: size * MM_PER_UNIT[unit] for unit in ("mm", "cm", "m", "inch")}
    fitting = [u for u, mm in sizes_mm.items() if _LEAST_ACROSS_MM <= mm <= _MOST_ACROSS_MM]
    return min(fitting, key=lambda u: abs(np.log(sizes_mm[u] / _USUAL_ACROSS_MM)), default="")


class HasHead(Protocol):
    """Something made from a head that carries it, such as a fitted head."""

    @property
    def head(self) -> Head:
        """The head itself."""


def head_of(given: Head | HasHead) -> Head:
    """A head, or the head that something carries."""
    return given if isinstance(given, Head) else given.head


def _check_surface(mesh: TriangleMesh) -> None:
    """Refuse a surface that is no single head wound outwards, in millimetres."""
    check_size(mesh)
    if mesh.n_pieces != 1:
        raise MeshError(
            sentence(
                "head surface",
                "be one connected piece",
                f"{mesh.n_pieces} pieces",
                "keep the scalp only, and merge vertices that coincide",
            ),
            code="mesh-pieces",
            n_pieces=mesh.n_pieces,
        )
    if mesh.volume_mm3 < 0:
        raise MeshError(
            sentence(
                "triangles of the head surface",
                "be wound so that normals point outwards",
                "an inside-out surface",
                "reverse the corner order of every triangle",
            ),
            code="mesh-inside-out",
        )


def _check_sides(mesh: TriangleMesh, landmarks: Landmarks) -> None:
    """Refuse landmarks that the surface clearly shows to be exchanged.

    With left and right exchanged, "up" points to the chin. A head is widest above the ears: on
    nine heads the section 50 mm above the landmarks is 1.17 to 1.33 times as broad as the one as
    far below (for a preauricular width of 145 mm). A bare vault has nothing below.
    """
    x = landmarks.right_preauricular - landmarks.left_preauricular
    width = float(np.linalg.norm(x))
    scale = width / 145.0
    from_middle = mesh.vertices_mm - landmarks.points_mm.mean(axis=0)
    height = from_middle @ landmarks.up / scale
    across = from_middle @ (x / width) / scale
    first, second, _ = mesh.half_edges

    def breadth(level: float) -> float:
        one, other = height[first] - level, height[second] - level
        met = np.flatnonzero((one > 0) != (other > 0))
        share = one[met] / (one[met] - other[met])
        start, end = across[first[met]], across[second[met]]
        return float(np.ptp(start + share * (end - start))) if len(met) else 0.0

    if breadth(-50.0) > 1.08 * breadth(50.0):
        raise LandmarkError(
            sentence(
                "left and right preauricular points",
                "lie left and right of the nose",
                "a head that stands upside down between them",
                "exchange left and right, or nasion and inion",
            ),
            code="landmarks-exchanged",
        )
