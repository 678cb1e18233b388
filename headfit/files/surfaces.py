"""Head surfaces in files, read into millimetres: PLY, OBJ, STL, OFF, GLB, VTP and GIfTI.

GLB, the binary form of glTF 2.0, is in metres (Khronos Group 2021, section 3.4: "the units for all
linear distances are meters"), GIfTI in mm; the others do not say, and are taken as mm. STL repeats
every corner of every triangle, and many programs split OBJ, GLB and PLY surfaces along texture
seams: vertices at exactly the same place are merged, so that the surface hangs together.
"""

from __future__ import annotations

import io
import logging
import re
import warnings
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from headfit.anatomy.head import PART_NAMES, Head, check_size
from headfit.errors import FileFormatError, MeshError, UnitError, sentence
from headfit.files.formats import extensions, listed_extensions
from headfit.files.landmark_files import read_landmarks
from headfit.files.limits import SURFACE_BYTES
from headfit.files.whole import about, read_bytes
from headfit.geometry.mesh import Floats, Integers, TriangleMesh
from headfit.units import MM_PER_UNIT, to_mm

# What to do with files that are not read; the first is a text with files beside it.
_CONVERT = {
    ".gltf": "save it as one file, GLB",
    ".vtk": "save it as VTP, or as PLY",
    ".vtu": "save its outer surface as VTP, or as PLY",
    ".nii": "it holds a volume: save the skin as GIfTI or PLY",
    ".gz": "unpack it first",
    ".zip": "unpack it first",
}
# How files of a format begin, where they do; XML may begin with a comment.
_BEGINS = {".ply": b"ply", ".glb": b"glTF", ".vtp": b"<", ".gii": b"<"}
# Of a polygon with more corners than any; most lines of surfaces have 30 letters.
_LONGEST_LINE = 100_000


def read_head(path: str | Path, landmarks: str | Path, unit: str | None = None) -> Head:
    """The head of a surface file and a landmark file.

    Parameters
    ----------
    path : path
        PLY, OBJ, STL, OFF, GLB, VTP or GIfTI. A PLY file written by headfit also tells ears from
        scalp.
    landmarks : path
        See `headfit.files.landmark_files.read_landmarks`.
    unit : {"mm", "cm", "m", "inch"}, optional
        Of the surface, unless its format says it: GLB is in metres, all others are taken as mm. The
        landmark file names its own.

    Raises
    ------
    FileFormatError
        A file is missing, empty, truncated or of another kind.
    MeshError, LandmarkError, UnitError
        The surface or the landmarks cannot be used.
    """
    mesh, part = read_surface(path, unit)
    points = read_landmarks(landmarks)
    with about(path):
        check_size(mesh, unit or unit_of(Path(path)))
        return Head(mesh.vertices_mm, mesh.faces, points, part, Path(path).stem)


def unit_of(path: Path) -> str:
    """The unit of a surface that nobody names.

    >>> unit_of(Path("scan.GLB")), unit_of(Path("scan.ply"))
    ('m', 'mm')
    """
    return "m" if path.suffix.lower() == ".glb" else "mm"


def read_surface(path: str | Path, unit: str | None = None) -> tuple[TriangleMesh, Integers | None]:
    """The triangle mesh of a file, in mm, and the part label of each vertex when it has them.

    Raises
    ------
    FileFormatError
        The file is missing, empty, truncated or of another kind.
    MeshError
        A coordinate is not finite, or a corner number is out of range.
    UnitError
        No such unit.
    """
    source = Path(path)
    unit = unit or unit_of(source)
    factor = to_mm(1.0, unit, "the surface") if unit in MM_PER_UNIT else _unknown_unit(unit)
    kind = source.suffix.lower()
    if kind not in extensions("surface"):
        raise FileFormatError(
            sentence(
                str(source),
                f"be a {listed_extensions('surface')} surface",
                f"the ending {kind!r}" if kind else "no ending",
                _CONVERT.get(kind, "save it as PLY from the program that shows it"),
            ),
            code="surface-kind",
            path=str(source),
        )
    raw = read_bytes(source, SURFACE_BYTES)
    with about(source):
        _check_kind(raw, kind)
        vertices, faces, part = (_read_apart if kind in (".vtp", ".gii") else _loaded)(raw, kind)
        # Checked before the merge: a corner out of range would be an index error there.
        mesh = TriangleMesh(vertices * factor, faces)
        merged, whole, part = _merged(mesh.vertices_mm, mesh.faces, part)
        if not len(whole):
            raise MeshError(
                sentence(
                    "triangles",
                    "have three different corners",
                    "none that does",
                    "is the surface flat or scaled to nothing?",
                ),
                code="mesh-flat",
            )
        return TriangleMesh(merged, whole), part


def _unknown_unit(unit: str) -> float:
    raise UnitError(
        sentence("unit of the surface", "be one of mm, cm, m, inch", repr(unit)),
        code="unit-unknown",
        unit=unit,
    )


def _check_kind(raw: bytes, kind: str) -> None:
    """Compare the beginning of a file with its ending."""
    head = raw[:4096].lstrip()
    told = any(head.startswith(begin) for begin in _BEGINS.values() if begin != b"<")
    as_it_should = head.startswith(_BEGINS[kind]) if kind in _BEGINS else not told
    if not as_it_should or (kind in (".obj", ".off") and b"\x00" in head):
        begins = raw[:12].decode("ascii", "replace").encode("unicode_escape").decode("ascii")
        raise FileFormatError(
            sentence(
                f"a {kind} file",
                "begin as one",
                f'"{begins}..."',
                "does its name have the right ending?",
            ),
            code="surface-kind",
        )
    is_text = kind == ".stl" and head.startswith(b"solid") and b"facet" in head
    if is_text or kind in (".obj", ".off") or b"format ascii" in head:
        _check_lines(raw)
    if is_text and b"endsolid" not in raw[-4096:]:
        raise _truncated("no closing endsolid")


def _check_lines(raw: bytes) -> None:
    """Refuse a line that takes longer to read than all others together."""
    ends = np.flatnonzero(np.frombuffer(raw, np.uint8) == ord("\n"))
    longest = int(np.diff(ends, prepend=0, append=len(raw)).max())
    if longest > _LONGEST_LINE:
        raise FileFormatError(
            sentence(
                "lines of a surface", f"be at most {_LONGEST_LINE} letters long", f"{longest}"
            ),
            code="surface-kind",
        )


def _truncated(found: str) -> FileFormatError:
    return FileFormatError(
        sentence("the surface", "be complete", found, "was the file copied whole?"),
        code="surface-truncated",
    )


def _loaded(raw: bytes, kind: str) -> tuple[Floats, Integers, Integers | None]:
    """Vertices, triangles and part labels as the file has them."""
    import trimesh

    # What it logs on the way is in the sentence below; without a handler it would go to the screen.
    logging.getLogger("trimesh").addHandler(logging.NullHandler())
    try:
        with warnings.catch_warnings(), np.errstate(all="ignore"):
            warnings.simplefilter("error")
            # No resolver: textures and material files beside the surface are never opened.
            loaded: Any = trimesh.load(
                io.BytesIO(raw),
                file_type=kind[1:],
                force="mesh",
                process=False,
                skip_materials=True,
                maintain_order=True,
            )
        vertices = np.asarray(loaded.vertices, dtype=np.float64)
        faces = np.asarray(getattr(loaded, "faces", ()), dtype=np.int64)
    except Exception as error:  # the reader raises whatever its parsing trips over
        raise _unreadable(kind, error) from error
    declared = loaded.metadata.get("_ply_raw", {})
    for name, element in declared.items():
        found = element.get("data")
        rows = found if isinstance(found, np.ndarray) else next(iter((found or {}).values()), ())
        if len(rows) < element["length"]:
            raise _truncated(f"{len(rows)} of {element['length']} {name} rows")
    _check_triangles(kind, faces)
    return vertices, faces, _part_labels(declared, len(vertices))


def _read_apart(raw: bytes, kind: str) -> tuple[Floats, Integers, None]:
    from headfit.files.mesh_libraries import gifti_arrays, vtp_arrays

    try:
        vertices, faces = (vtp_arrays if kind == ".vtp" else gifti_arrays)(raw)
    except RuntimeError as error:
        raise _unreadable(kind, error) from error
    _check_triangles(kind, faces)
    return vertices, faces, None


def _unreadable(kind: str, error: Exception) -> FileFormatError:
    return FileFormatError(
        sentence(
            f"a {kind} file",
            "hold a complete surface of triangles",
            f"one that cannot be read ({_short(error)})",
            "was it saved or copied whole?",
        ),
        code="surface-unreadable",
    )


def _check_triangles(kind: str, faces: Integers) -> None:
    if not len(faces):
        raise FileFormatError(
            sentence(
                f"a {kind} file",
                "hold triangles",
                "points at most",
                "save the surface, not a point cloud",
            ),
            code="surface-no-triangles",
        )


def _short(error: Exception) -> str:
    return re.sub(r"\s+", " ", str(error)).strip()[:80] or type(error).__name__


def _part_labels(declared: dict[str, Any], n_vertices: int) -> Integers | None:
    """The `part` column of a PLY file written by `ply_bytes`."""
    vertex = declared.get("vertex", {})
    if "part" not in vertex.get("properties", {}):
        return None
    part = np.asarray(vertex["data"]["part"]).ravel().astype(np.int64)
    usable = len(part) == n_vertices and part.min() >= 0 and part.max() < len(PART_NAMES)
    return part if usable else None


def _merged(
    vertices: Floats, faces: Integers, part: Integers | None
) -> tuple[Floats, Integers, Integers | None]:
    """The same surface with vertices at one place made one, and triangles without area gone."""
    _, first, same = np.unique(vertices, axis=0, return_index=True, return_inverse=True)
    if len(first) < len(vertices):
        # Numbered by first appearance, so that the order of the file stays recognisable.
        order = np.argsort(first)
        rank = np.empty_like(order)
        rank[order] = np.arange(len(order))
        kept = first[order]
        faces = rank[same.ravel()][faces]
        vertices, part = vertices[kept], None if part is None else part[kept]
    a, b, c = faces.T
    faces = faces[(a != b) & (b != c) & (c != a)]
    used: NDArray[np.bool_] = np.zeros(len(vertices), bool)
    used[faces] = True
    if not used.all():
        faces = (np.cumsum(used) - 1)[faces]
        vertices, part = vertices[used], None if part is None else part[used]
    return vertices, faces, part


def ply_bytes(head: Head) -> bytes:
    r"""A binary PLY file of a head: vertices in mm, their part labels, triangles.

    >>> from headfit import load_template
    >>> ply_bytes(load_template())[:36]
    b'ply\nformat binary_little_endian 1.0\n'
    """
    # The label stays out: some readers take any line with the word end_header for the end.
    lines = [
        "ply",
        "format binary_little_endian 1.0",
        "comment head surface by headfit, millimetres",
        f"element vertex {len(head.vertices_mm)}",
        *(f"property float {axis}" for axis in "xyz"),
        *(["property uchar part"] if head.part is not None else []),
        f"element face {len(head.faces)}",
        "property list uchar int vertex_indices",
        "end_header",
    ]
    columns: list[tuple[str, str] | tuple[str, str, tuple[int, ...]]] = [("xyz", "<f4", (3,))]
    if head.part is not None:
        columns.append(("part", "u1"))
    vertices = np.zeros(len(head.vertices_mm), dtype=columns)
    vertices["xyz"] = head.vertices_mm
    if head.part is not None:
        vertices["part"] = head.part
    faces = np.zeros(len(head.faces), dtype=[("n", "u1"), ("corners", "<i4", (3,))])
    faces["n"] = 3
    faces["corners"] = head.faces
    return "\n".join([*lines, ""]).encode("ascii") + vertices.tobytes() + faces.tobytes()
