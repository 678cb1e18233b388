"""The head map page of the sheet, and a page for each montage with its lengths."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from headfit.anatomy.sites import Sites
from headfit.output.headmap import head_map
from headfit.output.sheet_columns import Block, Row, even_height_mm
from headfit.output.sheet_room import Page, Room
from headfit.output.typesetting import clean, line_height_mm, wrapped
from headfit.planning.derivations import MeasuredChain, MeasuredDerivation, MeasuredMontage
from headfit.planning.displacement import Displacement

HOW_IT_IS_DRAWN = (
    "Seen from above. The thin line is the 10 % ring in its true shape; places inside and outside "
    "it stand by the fraction of their arc, so other distances are not to scale."
)
HOW_MOVES_ARE_DRAWN = (
    "Hatched: must stay free. Crossed: the own place of a moved site. Black: where it stands now."
)
DERIVATION_ROW_MM = 4.6
LEAST_MAP_MM = 85.0
LEGEND_MM = 6.0
HOW_LENGTHS_ARE_TOLD = (
    "Lengths along the scalp in mm, then the difference from the other side. Bold: changed because "
    "a site was moved."
)


def map_page(room: Room, sites: Sites, displacement: Displacement | None) -> Page:
    """The true-shape head map."""
    legend = [HOW_IT_IS_DRAWN]
    if displacement and displacement.obstacles:
        legend += [HOW_MOVES_ARE_DRAWN, *displacement.sentences]

    def draw() -> None:
        y = room.title("Head map")
        lines = [line for words in legend for line in wrapped(words, 8.5, room.width_mm)]
        # Many sentences are on page 1 already; the map keeps two thirds of the page.
        lines = lines[: int((room.bottom_mm - y) / 3 / line_height_mm(8.5))]
        foot = room.bottom_mm - len(lines) * line_height_mm(8.5)
        drawn = head_map(sites, room.width_mm, foot - y - 3.0, displacement=displacement)
        room.paper.map(room.left_mm, y, drawn)
        for k, line in enumerate(lines):
            room.paper.text(room.left_mm, foot + k * line_height_mm(8.5), line, 8.5)

    return draw


def derivation_pages(
    room: Room, sites: Sites, displacement: Displacement | None, montages: Iterable[MeasuredMontage]
) -> list[Page]:
    """Each montage on the map, with its lengths and what is unequal."""
    return [
        page for montage in montages for page in _montage_pages(room, sites, displacement, montage)
    ]


def _montage_pages(
    room: Room, sites: Sites, displacement: Displacement | None, montage: MeasuredMontage
) -> list[Page]:
    differences = {
        name: gap
        for left, (right, gap) in montage.side_differences_mm.items()
        for name, gap in ((left, gap), (right, -gap))
    }
    blocks = [_chain_block(room, chain, differences) for chain in montage.chains]
    findings = montage.findings or ("No unequal sides or spacing beyond the settings.",)
    blocks.append(room.block("What to know", room.sentences(findings, 8.5)))
    top = room.top_mm + 8.0
    # The table takes what it needs, the map the rest of the page.
    map_mm = max(LEAST_MAP_MM, room.bottom_mm - top - LEGEND_MM - even_height_mm(blocks))
    drawn = head_map(sites, room.width_mm, map_mm, displacement=displacement, montage=montage)

    def table_top(page: int) -> float:
        return top + (map_mm + LEGEND_MM if page == 0 else 0.0)

    def page(number: int, drawings: list[Page]) -> Page:
        def draw() -> None:
            again = "" if number == 0 else ", continued"
            room.title(f"{clean(montage.montage.title, 'title of a montage')}{again}")
            if number == 0:
                room.paper.map(room.left_mm, top, drawn)
                room.paper.text(room.left_mm, top + map_mm + 3.0, HOW_LENGTHS_ARE_TOLD, 8.0)
            for drawing in drawings:
                drawing()

        return draw

    pages = room.two_columns(blocks, table_top, lambda _: room.bottom_mm).pages
    return [page(number, drawings) for number, drawings in enumerate(pages)]


def _chain_block(room: Room, chain: MeasuredChain, differences: Mapping[str, float]) -> Block:
    name = clean(chain.chain.name, "name of a chain")
    spread = f"mean {chain.mean_mm:.0f}, spread {chain.spread_mm:.0f} mm"
    rows = [_derivation_row(room, d, differences.get(d.name)) for d in chain.derivations]
    return room.block(name[0].upper() + name[1:], rows, under=spread)


def _derivation_row(room: Room, derivation: MeasuredDerivation, gap_mm: float | None) -> Row:
    changed = derivation.before_mm is not None

    def draw(x: float, y: float, width: float) -> None:
        paper, base = room.paper, y + 0.75 * DERIVATION_ROW_MM
        paper.text(x + 1.5, base, derivation.name, 9.5, bold=changed)
        paper.text(x + 42.0, base, f"{derivation.length_mm:.0f}", 10.0, bold=True, align="right")
        if gap_mm is not None:
            paper.text(x + 56.0, base, _signed(gap_mm), 9.0, align="right")
        if derivation.before_mm is not None:
            paper.text(x + width - 1.5, base, f"was {derivation.before_mm:.0f}", 9.0, align="right")

    return Row(DERIVATION_ROW_MM, draw)


def _signed(gap_mm: float) -> str:
    """With a sign, and plain 0 for what rounds to it."""
    return f"{gap_mm:+.0f}" if abs(gap_mm) >= 0.5 else "0"
