"""The result of comparing marks with sites: deviations, moves, what the whole set has in common.

Made by `headfit.comparing.compare.compare_marks`, where the words are defined. Millimetres.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from headfit.anatomy.head import Head
from headfit.anatomy.landmarks import Landmarks
from headfit.anatomy.site_table import TABLE, BeyondRow
from headfit.comparing.alignment import Alignment
from headfit.comparing.alignment_kinds import AlignmentKind
from headfit.comparing.common_shift import SetMotion
from headfit.comparing.directions import WordPair, phrase
from headfit.comparing.head_and_slip import HeadUnderMarks
from headfit.comparing.spacing import PairDifference, Spacing, pair_differences, spacings
from headfit.comparing.swapped_labels import Mixup
from headfit.comparing.target_sites import Targets
from headfit.errors import unknown_name
from headfit.geometry.mesh import Floats
from headfit.hooks import hook
from headfit.marks.remarks import Remark
from headfit.notebook import html_list, html_table
from headfit.nouns import ByName


@dataclass(frozen=True)
class Deviation:
    """Where one mark lies against its site.

    Attributes
    ----------
    site : str
    arc : str or None
        The arc on which the site is marked.
    along_mm, across_mm : float
        Over the scalp: away from the start of the arc, and to the left of that seen from outside.
    over_scalp_mm : float
        Length of the two together.
    fraction_of_arc : float or None
        `along_mm` as a share of the length of the arc.
    off_surface_mm : float
        Height of the mark over the scalp, negative inside.
    distance_mm : float
        Straight from the site to the mark.
    band : int
        0 within the first limit, 1 between the two, 2 beyond.
    uncertainty_mm : float
        How far the site itself may lie elsewhere (95 %), widening the bands; 0 when not known.
    own_along_mm, own_across_mm, own_mm : float
        What is left over the scalp when the common part of the set is taken off.
    mixed_up : bool
        The name seems to have changed places with another.
    directions : pairs of str
        Words for forwards and backwards, along and across.
    """

    site: str
    arc: str | None
    along_mm: float
    across_mm: float
    over_scalp_mm: float
    fraction_of_arc: float | None
    off_surface_mm: float
    distance_mm: float
    band: int
    uncertainty_mm: float
    own_along_mm: float
    own_across_mm: float
    own_mm: float
    mixed_up: bool
    directions: tuple[WordPair, WordPair] = field(repr=False)

    @property
    def words(self) -> str:
        """Where the mark lies, for a person."""
        return phrase((self.along_mm, self.across_mm), self.directions)

    @property
    def own_words(self) -> str:
        """The same when the common part of the set is taken off."""
        return phrase((self.own_along_mm, self.own_across_mm), self.directions)


@dataclass(frozen=True)
class Move:
    """What to do with one mark.

    Attributes
    ----------
    site : str
    distance_mm : float
        Over the scalp.
    sentence : str
    """

    site: str
    distance_mm: float
    sentence: str


@dataclass(frozen=True, eq=False)
class Comparison(ByName[Deviation]):
    """Marks held against the sites of a head: a mapping from each site to its `Deviation`.

    Attributes
    ----------
    names : tuple of str
        The sites compared.
    aligned_by : {"landmarks", "best-fit", "robust", "surface"}
        The alignment in which the deviations are given.
    alignments : mapping of str to Alignment
        Every alignment that was possible, side by side.
    marks_mm, feet_mm : (n, 3) float64
        The aligned marks in the frame of the head, and the places of the scalp under them.
    deviations : tuple of Deviation
        In the order of `names`.
    common : SetMotion or None
        What the whole set has in common against the landmarks; None without landmarks, or with
        too few marks.
    mixups : tuple of Mixup
        Found, not applied.
    stands_out : tuple of str
        Marks that are off on their own, not with the set, the farthest first.
    own_spread_mm : float
        Spread per axis of the own parts.
    bands_mm : (float, float)
    remarks : tuple of Remark
        Those of the marks, then those of the comparison.
    judged_by : str
        What single marks were held against; empty with too few marks.
    under : HeadUnderMarks or None
        The head and the slip, where both were found from the marks.
    """

    names: tuple[str, ...]
    aligned_by: AlignmentKind
    alignments: Mapping[AlignmentKind, Alignment]
    marks_mm: Floats
    feet_mm: Floats
    deviations: tuple[Deviation, ...]
    common: SetMotion | None
    mixups: tuple[Mixup, ...]
    stands_out: tuple[str, ...]
    own_spread_mm: float
    bands_mm: tuple[float, float]
    remarks: tuple[Remark, ...]
    source: str
    targets: Targets = field(repr=False)
    foot_normals: Floats = field(repr=False)
    judged_by: str = ""
    under: HeadUnderMarks | None = field(default=None, repr=False)

    def __repr__(self) -> str:
        near, far = self.bands_mm
        counts = [sum(d.band == band for d in self.deviations) for band in range(3)]
        return (
            f"Comparison({self.source[-60:]!r}, {len(self)} marks by {self.aligned_by}: "
            f"{counts[0]} within {near:g} mm, {counts[1]} to {far:g} mm, {counts[2]} beyond)"
        )

    def __len__(self) -> int:
        return len(self.names)

    def __iter__(self) -> Iterator[str]:
        return iter(self.names)

    def __getitem__(self, site: str) -> Deviation:
        """The deviation at one site.

        Raises
        ------
        UnknownNameError
            Not compared.
        """
        if site not in self.names:
            raise unknown_name("compared site", site, self.names)
        return self.deviations[self.names.index(site)]

    def _repr_html_(self) -> str:
        """A small drawing, the deviations, the farthest first, and the remarks, in a notebook."""
        near, far = self.bands_mm
        bands = (f"within {near:g} mm", f"{near:g} to {far:g} mm", f"beyond {far:g} mm")
        return (
            str(hook("small_drawing")(self))
            + html_table(
                f"{self.source}: marks against their sites, in mm",
                ("site", "over the scalp", "where it lies", "off the surface", "band"),
                [
                    (d.site, d.over_scalp_mm, d.words, d.off_surface_mm, bands[d.band])
                    for d in sorted(self.deviations, key=lambda d: -d.over_scalp_mm)
                ],
            )
            + html_list(
                [*(mixup.sentence for mixup in self.mixups)]
                + [f"{remark.kind}: {remark.sentence}" for remark in self.remarks]
            )
        )

    def to_frame(self) -> Any:
        """A `pandas.DataFrame` with a row a mark: the columns of deviations.tsv.

        Raises
        ------
        InputError
            The optional extra `pandas` is not installed.
        """
        return hook("comparison_to_frame")(self)

    @cached_property
    def head(self) -> Head:
        """The head that was used: the one found under the marks, or scalp and landmarks given."""
        if self.under is not None:
            return self.under.head
        mesh = self.targets.sites.tracer.mesh
        return Head(mesh.vertices_mm, mesh.faces, Landmarks(**self.targets.landmarks))

    @property
    def verdict(self) -> str:
        """One sentence that tells a slip of the set from single marks that are off."""
        return str(hook("comparison_verdict")(self))

    def methods(self) -> str:
        """How the comparison was made, with all numbers, as a paragraph for a paper."""
        return str(hook("comparison_methods")(self))

    @property
    def doubts_on_set(self) -> tuple[Remark, ...]:
        """Remarks that speak against the set as a whole."""
        return tuple(remark for remark in self.remarks if remark.code.startswith("set-"))

    @cached_property
    def moves(self) -> tuple[Move, ...]:
        """What to do with the marks beyond the first band, largest first; no mixed-up names."""
        return self._moves(own=False)

    @cached_property
    def own_moves(self) -> tuple[Move, ...]:
        """The same after the whole set has been moved back."""
        return self._moves(own=True)

    def _moves(self, *, own: bool) -> tuple[Move, ...]:
        found = []
        for d in self.deviations:
            size = d.own_mm if own else d.over_scalp_mm
            if d.mixed_up or size <= self.bands_mm[0] + d.uncertainty_mm:
                continue
            # A cap ends below a row: what all caps show there is practice, no error of this one.
            practice = own and isinstance(TABLE[d.site], BeyondRow)
            if practice and d.site not in self.stands_out:
                continue
            parts = (d.own_along_mm, d.own_across_mm) if own else (d.along_mm, d.across_mm)
            way = phrase((-parts[0], -parts[1]), d.directions)
            found.append(Move(d.site, size, f"Move {d.site} {way}."))
        return tuple(sorted(found, key=lambda move: -move.distance_mm))

    @cached_property
    def pairs(self) -> tuple[PairDifference, ...]:
        """Left against right, the largest difference first."""
        to_head = self.targets.to_head
        return pair_differences(
            self.names, to_head.on(self.feet_mm), to_head.on(self.targets.points_mm)
        )

    @cached_property
    def spacings(self) -> tuple[Spacing, ...]:
        """Distances over the scalp between neighbouring marks and between their sites."""
        return spacings(
            self.names,
            (self.feet_mm, self.foot_normals),
            (self.targets.points_mm, self.targets.normals),
        )
