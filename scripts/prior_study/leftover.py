"""What the shape modes cannot draw of real skins, as fields over the vertices of the template.

After a head of the model is laid on a scanned skin, a gap stays: bumps and dents finer than the
modes. It is taken along the normals of the model, carried on smoothly where the skin was cut away,
and smoothed a little, for a voxel is 1 mm wide. Millimetres, positive outwards.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import scipy.sparse
import scipy.sparse.linalg
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from headfit.anatomy.template import template_set
from headfit.fitting.shape import Prior, shape_model
from headfit.geometry.mesh import Floats
from headfit.geometry.surface import nearest, normals_at
from prior_study.extract import RIM_MM, Vault
from prior_study.matching import Match, on_the_vault

# A vertex of the model is known where the skin lies near it, faces the same way, and straight out.
NEAR_MM, SAME_WAY, ASIDE_MM = 8.0, 0.8, 1.0
# How stiffly the field goes back to nothing where no skin is known: within about three edges.
FADE = 0.12
SMOOTHING = 0.5  # of the Laplacian; takes the steps of the voxels out, not the bumps
KEPT_SHARE = 0.98  # of the sum of squares of all fields, in as few modes as that takes
GRAIN_MM = 0.01


def wider(prior: Prior) -> Prior:
    """A prior in which the vault decides: what is left over is then not what the prior held."""
    factor = np.ones(len(prior.mean))
    factor[3:18] = 2.0
    return Prior(prior.mean, prior.covariance * np.outer(factor, factor))


def _laplacian() -> scipy.sparse.csr_array:
    one, other, _ = shape_model().template.scalp.half_edges
    n = len(template_set().mirror)
    rows, columns = np.concatenate([one, other]), np.concatenate([other, one])
    joined = scipy.sparse.csr_array((np.ones(len(rows)), (rows, columns)), shape=(n, n))
    joined.data[:] = 1.0
    return scipy.sparse.csr_array(scipy.sparse.diags_array(joined.sum(axis=1)) - joined)


def leftover_field(vault: Vault, match: Match) -> tuple[Floats, NDArray[np.bool_]]:
    """(n,) how far the skin lies outside the matched model at each vertex, and where it is known.

    Parameters
    ----------
    vault : Vault
    match : Match
        Of the same skin.
    """
    mesh = shape_model().pose(match.parameters).mesh
    used, normals = mesh.used_vertices, mesh.vertex_normals
    normals = normals / np.maximum(np.linalg.norm(normals, axis=1), 1e-9)[:, None]
    skin = vault.skin.moved(match.moved(vault.skin.vertices_mm))
    asked = used[on_the_vault(mesh.vertices_mm[used], low=True)]
    places, gap = nearest(skin, mesh.vertices_mm[asked], again=True)
    foot = places.on(skin.vertices_mm)
    away = np.einsum("ij,ij->i", foot - mesh.vertices_mm[asked], normals[asked])
    facing = np.einsum("ij,ij->i", normals_at(skin, places), normals[asked])
    from_rim = cKDTree(skin.vertices_mm[vault.rim]).query(foot)[0]
    good = (from_rim > RIM_MM) & (gap < NEAR_MM) & (facing > SAME_WAY)
    good &= gap - np.abs(away) < ASIDE_MM
    field, known = np.zeros(len(normals)), np.zeros(len(normals), bool)
    field[asked[good]], known[asked[good]] = away[good], True
    laplacian, rest = _laplacian(), np.setdiff1d(used, np.flatnonzero(known))
    stiff = laplacian[rest][:, rest] + FADE * scipy.sparse.eye_array(len(rest))
    field[rest] = scipy.sparse.linalg.spsolve(stiff.tocsc(), -(laplacian[rest] @ field))
    smooth = scipy.sparse.eye_array(len(field)) + SMOOTHING * laplacian
    return np.asarray(scipy.sparse.linalg.spsolve(smooth.tocsc(), field)), known


def modes_of(fields: Sequence[Floats]) -> tuple[Floats, float]:
    """(h, n) independent fields of the same second moments, and the share they keep.

    A skin and its mirror image are equally likely, so each mode is alike or opposed on both sides.
    """
    rows, mirror = np.array(fields), template_set().mirror
    halves = [(rows + sign * rows[:, mirror]) / 2 for sign in (1.0, -1.0)]
    size, modes = [], []
    for half in halves:
        _, values, directions = np.linalg.svd(half / np.sqrt(len(rows)), full_matrices=False)
        # A direction has no sign of its own: it is the one that sums to more.
        directions *= np.where(np.einsum("hn,hn->h", directions, np.abs(directions)) < 0, -1, 1)[
            :, None
        ]
        size.append(values**2)
        modes.append(values[:, None] * directions)
    sizes, both = np.concatenate(size), np.concatenate(modes)
    order = np.argsort(-sizes)
    kept = order[: int(np.searchsorted(np.cumsum(sizes[order]), KEPT_SHARE * sizes.sum())) + 1]
    return both[kept], float(sizes[kept].sum() / sizes.sum())
