"""How well heads are found by a prior that has not seen their set.

The heads that serve as truth are those of people and skins themselves, found from all their points
under beliefs weak enough not to decide. A person gets the bumps and dents of a scanned skin, drawn
by lot; a skin gets the landmarks of a person, and everybody the place of the inion, drawn from how
people are known to differ, since no set has it. What all sets share and the model too, such as an
idea of where the ears are, cannot be seen this way: heads from elsewhere weigh more.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from fit_study.scores import Score, Subject, scored, subject

from headfit import Head, HeadfitError
from headfit.anatomy.landmarks import Landmarks
from headfit.anatomy.template import template_set
from headfit.fitting.fit import fit_model
from headfit.fitting.shape import Prior, ShapeModel, parameter_kinds, parameter_names, shape_model
from headfit.geometry.mesh import Floats
from headfit.geometry.surface import nearest
from prior_study.extract import PEOPLE_SETS, VAULTS, Person, Vault, read_people, read_vaults
from prior_study.leftover import leftover_field, wider
from prior_study.matching import Match, match_person, match_vault
from prior_study.pooling import START_HEADS, pooled, predictive, start

# People differ by so much in where the inion lies, mm along the profile and aside: 15 read on MRI.
INION_MM = {"inion_along": 7.5, "inion_x": 3.0}


@dataclass(frozen=True, eq=False)
class Truth:
    """A head that stands for the true one, and the set it belongs to."""

    data_set: str
    subject: Subject


def weak() -> Prior:
    """Beliefs of twice the spread."""
    prior = start()
    return Prior(prior.mean, 4.0 * prior.covariance)


def head_with(parameters: Floats, leftover: Floats) -> Head:
    """A head of the model with bumps and dents on it, its landmarks on that skin."""
    model = shape_model()
    pose = model.pose(parameters)
    normals = pose.mesh.vertex_normals
    normals = normals / np.maximum(np.linalg.norm(normals, axis=1), 1e-9)[:, None]
    bare = model.template.bare.moved(pose.mesh.vertices_mm + leftover[:, None] * normals)
    places, _ = nearest(bare, pose.landmarks.points_mm)
    landmarks = Landmarks.from_points(places.on(bare.vertices_mm))
    vertices = bare.vertices_mm
    return model.template.deformed(vertices, vertices, landmarks, "").in_own_frame()


def truths(
    people: Sequence[Person],
    vaults: Sequence[Vault],
    fields: Sequence[Floats],
    generator: np.random.Generator,
) -> list[Truth]:
    """A head for every person, and two for every skin: itself and its mirror image."""
    names, mirror = parameter_names(), template_set().mirror
    marks = np.array([kind == "landmark" for kind in parameter_kinds()])

    def with_inion(parameters: Floats) -> Floats:
        moved = np.array(parameters)
        for name, spread in INION_MM.items():
            moved[names.index(name)] += generator.normal(0.0, spread)
        return moved

    found = []
    shapes = [match_person(person, weak()).parameters for person in people]
    for person, shape in zip(people, shapes, strict=True):
        field = fields[generator.integers(len(fields))]
        head = head_with(with_inion(shape), field if generator.random() < 0.5 else field[mirror])
        found.append(Truth(person.data_set, subject(f"{person.data_set} {person.subject}", head)))
    # Landmarks of people whose frames are not scaled, for sizes to go with.
    donors = [s for p, s in zip(people, shapes, strict=True) if p.data_set in PEOPLE_SETS[:2]]
    opposed = np.array([name.endswith(("m1", "m2")) for name in names])
    for vault, field in zip(vaults, fields, strict=True):
        laid = match_vault(vault, wider(weak()), low=True).parameters
        for side, own in ((1.0, field), (-1.0, field[mirror])):
            shape = np.where(opposed, side * laid, laid)
            shape = np.where(marks, donors[generator.integers(len(donors))], shape)
            name = f"{vault.name}{'' if side > 0 else ' mirrored'}"
            found.append(Truth(VAULTS, subject(name, head_with(with_inion(shape), own))))
    return found


def left_out_subjects(
    generator: np.random.Generator,
) -> tuple[list[Subject], dict[str, ShapeModel]]:
    """All left-out heads, and by the name of each the model that has not seen its set."""
    people, vaults = read_people(), read_vaults()
    begin = start()
    matches = [
        *(match_person(person, begin) for person in people),
        *(match_vault(vault, begin) for vault in vaults),
    ]
    weak_prior = wider(predictive(pooled(matches, begin)))
    fields = [leftover_field(v, match_vault(v, weak_prior, low=True))[0] for v in vaults]
    found, models = truths(people, vaults, fields, generator), models_without(matches, begin)
    return [t.subject for t in found], {t.subject.name: models[t.data_set] for t in found}


def models_without(
    matches: Sequence[Match], begin: Prior, n_start: float = START_HEADS
) -> dict[str, ShapeModel]:
    """For every set the model of a prior that has not seen it."""
    models = {}
    for left_out in (*PEOPLE_SETS, VAULTS):
        seen = [match for match in matches if match.data_set != left_out]
        prior = predictive(pooled(seen, begin, n_start))
        models[left_out] = replace(shape_model(), prior=prior)
    return models


@dataclass(frozen=True)
class Result:
    """One sheet over many heads; lengths in mm."""

    heads: int
    mean_mm: float
    error_mm: float
    rigid_mm: float
    inside: float
    all_inside: float
    predicted_over_true: float
    of_head_mm: Mapping[str, float]


def result_of(scores: Sequence[tuple[str, Score]], noisy: Sequence[Score]) -> Result:
    """The figures of one sheet: errors without, rings with reading noise."""
    means = {name: float(score.distance_mm.mean()) for name, score in scores}
    off = np.array([(score.plane_mm**2).sum(axis=1).mean() for score in noisy])
    said = np.array([np.trace(s.covariance_mm2, axis1=1, axis2=2).mean() for s in noisy])
    inside = np.array([score.inside for score in noisy])
    values = np.array(list(means.values()))
    return Result(
        len(means),
        float(values.mean()),
        float(values.std(ddof=1) / np.sqrt(len(values))),
        float(np.mean([score.rigid_mm.mean() for _, score in scores])),
        float(inside.mean()),
        float(inside.all(axis=1).mean()),
        float(np.sqrt(said.mean() / off.mean())),
        means,
    )


def results(
    found: Sequence[Truth],
    models: Mapping[str, ShapeModel],
    sheets: Mapping[str, Sequence[str]],
    generator: np.random.Generator,
    n_noisy: int = 2,
) -> Iterator[tuple[str, Result]]:
    """Every sheet over all heads, each fitted by the model that has not seen its set."""
    for title, names in sheets.items():
        clean, noisy = [], []
        for truth in found:
            model, true = models[truth.data_set], truth.subject
            try:
                clean.append((true.name, scored(fit_model(model, true.sheet(names)), true)))
                for _ in range(n_noisy):
                    sheet = true.noisy_sheet(names, generator)
                    noisy.append(scored(fit_model(model, sheet), true))
            except HeadfitError as error:
                print(f"{true.name}, {title}: {error}")
        yield title, result_of(clean, noisy)
