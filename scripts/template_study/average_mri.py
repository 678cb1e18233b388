"""The outer skin of an averaged whole-head MRI, and what the template takes from it.

Source: ``mean_reg2mean.nii.gz`` (MIT) out of the wheel ``pydeface``, read as a zip file; nothing
of that package is imported or run. The average was taken from people lying on their back, and
its scale is not known: only its shape is used. Unit: mm, +x right, +y front, +z up.
"""

from __future__ import annotations

import tempfile
import zipfile
from collections.abc import Callable
from pathlib import Path

import nibabel
import numpy as np
import trimesh
from scipy import ndimage
from scipy.interpolate import RegularGridInterpolator
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation
from skimage.measure import marching_cubes

from template_study.vault import Floats, Vault, settle, spread_directions

VOLUME = "pydeface/data/mean_reg2mean.nii.gz"
#: Grey value of the border between air and skin in the average.
SKIN_LEVEL = 60.0
#: Landmarks on the average, study frame, placed by hand: inion to 5-8 mm, others to 4 mm.
LANDMARKS = {
    "nasion": np.array([0.0, 101.3, -33.5]),
    "inion": np.array([0.0, -91.5, -31.0]),
    "left_preauricular": np.array([-72.9, 7.0, -46.5]),
    "right_preauricular": np.array([72.9, 7.0, -46.5]),
}
VAULT_CENTRE_MM = np.array([0.0, 4.0, 4.0])


def skin_surface(wheel: Path) -> trimesh.Trimesh:
    """Return the outer skin as a mesh, study frame: cavities filled, x = 0 the mirror plane."""
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder, "average.nii.gz")
        copy.write_bytes(zipfile.ZipFile(wheel).read(VOLUME))
        image = nibabel.as_closest_canonical(nibabel.load(copy))
        grey = np.asarray(image.dataobj).astype(np.float64)
    # air all round, but not below: the neck runs out of the picture
    grey = ndimage.gaussian_filter(np.pad(grey, ((6, 6), (6, 6), (0, 6))), 1.0)
    labels, n_labels = ndimage.label(grey > SKIN_LEVEL)
    head = labels == 1 + np.argmax(ndimage.sum(grey > SKIN_LEVEL, labels, range(1, n_labels + 1)))
    for axis in range(3):
        slices = np.moveaxis(head, axis, 0)
        for index in range(len(slices)):
            slices[index] = ndimage.binary_fill_holes(slices[index])
    grey = np.where(head & (grey < SKIN_LEVEL), 1.5 * SKIN_LEVEL, grey)
    grey = np.where(ndimage.binary_dilation(head, iterations=2), grey, 0.0)
    voxels, faces, _, _ = marching_cubes(np.minimum(grey, 2.0 * SKIN_LEVEL), SKIN_LEVEL)
    points = (voxels - [6, 6, 0]) @ image.affine[:3, :3].T + image.affine[:3, 3]
    parts = trimesh.Trimesh(points, faces).split(only_watertight=False)
    skin = max(parts, key=lambda part: len(part.vertices))
    if skin.volume < 0:
        skin.invert()
    # nose, ears and the table under the head are no witnesses of symmetry
    vault = (skin.vertices[:, 2] >= -45) & (skin.vertices[:, 1] <= 95)
    skin.apply_transform(_upright(skin.vertices[vault]))
    skin.vertices = settle(skin.vertices)
    return skin


def _upright(points_mm: Floats) -> Floats:
    """Return the motion (4, 4) that turns the mirror plane of points (n, 3) into x = 0."""
    chance = np.random.default_rng(0)
    sample = points_mm[chance.choice(len(points_mm), 8000, replace=False)]
    tree, normal, offset = cKDTree(points_mm), np.array([1.0, 0.0, 0.0]), sample[:, 0].mean()
    for _ in range(60):
        distance, twin = tree.query(sample - 2.0 * np.outer(sample @ normal - offset, normal))
        good = distance <= np.quantile(distance, 0.85)
        middle = ((sample + points_mm[twin]) / 2.0)[good]
        apart = (sample - points_mm[twin])[good]
        centre = middle.mean(axis=0)
        spread = np.cov((middle - centre).T) - 0.25 * (apart.T @ apart) / len(apart)
        normal = np.linalg.eigh(spread)[1][:, 0]
        normal = normal if normal[0] > 0 else -normal
        offset = centre @ normal
    axis = np.cross(normal, [1.0, 0.0, 0.0])
    sine = np.linalg.norm(axis)
    motion = np.eye(4)
    motion[:3, :3] = Rotation.from_rotvec(axis / sine * np.arcsin(sine)).as_matrix()
    motion[0, 3] = -offset
    return motion


def average_vault(skin: trimesh.Trimesh) -> Vault:
    """Return the vault of the skin surface, without its ears and face."""
    directions = spread_directions(30000)
    directions = directions[directions[:, 2] > -0.85]
    origins = np.tile(VAULT_CENTRE_MM, (len(directions), 1))
    hits, rays, _ = skin.ray.intersects_location(origins, directions, multiple_hits=True)
    distances = np.full(len(directions), np.nan)
    np.fmax.at(distances, rays, settle(np.linalg.norm(hits - VAULT_CENTRE_MM, axis=1)))
    x, y, z = (VAULT_CENTRE_MM + directions * distances[:, None]).T
    ear = (z > -88) & (z < -10) & (y > -40) & (y < 8) & (np.abs(x) > 60)
    brow_and_nose = (z < 6) & (y > 88)
    cheek = (z < -20) & (y > 60)
    jaw = (z < -75) & (y > -30)
    good = np.isfinite(distances) & ~(ear | brow_and_nose | cheek | jaw | (z < -100))
    draft = Vault.through(VAULT_CENTRE_MM, directions[good], distances[good])
    good &= np.abs(distances - draft.distances_mm(directions)) < 2.5
    return Vault.through(VAULT_CENTRE_MM, directions[good], distances[good])


def half_widths(skin: trimesh.Trimesh) -> Callable[[Floats, Floats], Floats]:
    """Return a function (y, z) -> half the width of the head in mm, nan outside its grid.

    It covers cheekbone and temple, y 0 to 88 and z -112 to -2.
    """
    y_mm, z_mm = np.arange(0.0, 90.0, 2.0), np.arange(-112.0, 0.0, 2.0)
    y, z = np.meshgrid(y_mm, z_mm, indexing="ij")
    sides = []
    for side in (-1.0, 1.0):
        origins = np.column_stack([np.full(y.size, 200.0 * side), y.ravel(), z.ravel()])
        toward = np.tile([-side, 0.0, 0.0], (y.size, 1))
        hits, rays, _ = skin.ray.intersects_location(origins, toward, multiple_hits=False)
        widths = np.full(y.size, np.nan)
        widths[rays] = np.abs(hits[:, 0])
        sides.append(widths.reshape(y.shape))
    mean = np.mean(sides, axis=0)
    mean = np.where(np.isnan(sides[0]), sides[1], np.where(np.isnan(sides[1]), sides[0], mean))
    filled = np.where(np.isfinite(mean), mean, 50.0)
    smooth = ndimage.gaussian_filter(ndimage.median_filter(filled, 5), 1.5)
    table = RegularGridInterpolator((y_mm, z_mm), smooth, bounds_error=False, fill_value=np.nan)
    return lambda y, z: table(np.column_stack([y, z]))
