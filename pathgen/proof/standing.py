"""What the cut part says for itself: loose pieces, bridges and holds, thin walls, details too small. One door."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from pathgen.model.findings import Finding
from pathgen.proof.checks import Setting
from pathgen.proof.design import Asked
from pathgen.proof.details import detail_findings
from pathgen.proof.forces import bridge_force_findings, forces, hold_findings
from pathgen.proof.grid import Grid
from pathgen.proof.pieces import Before, bridge_findings, bridged, loose_findings, pieces
from pathgen.proof.sweep import Field
from pathgen.proof.thin import Standing, grain_findings, wall_findings
from pathgen.shop.strength import strength


def standing_findings(
    s: Setting, asked: Sequence[Asked] | None, before: Field | None, cut: Field, grid: Grid
) -> Iterator[Finding]:
    """Yield findings on what stands and what comes loose.

    Args:
        s: programs, tools and stock.
        asked: what was asked of each cut, or None.
        before: the stock as earlier programs left it, heights in mm; None = whole.
        cut: the part.
        grid: its samples.
    """
    earlier = None if before is None else Before(before, grid)
    left = pieces(s, earlier)
    yield from loose_findings(s, left, cut, grid, earlier)
    held = bridged(s, left, cut, grid, earlier)
    yield from bridge_findings(s, held)
    if held or s.hold:
        force = forces(s)
        yield from bridge_force_findings(s, held, force)
        yield from hold_findings(s, left, force)
    yield from wall_findings(s, Standing(s, asked), cut, grid)
    yield from grain_findings(s, asked, held)
    if asked is not None:
        yield from detail_findings(asked)


def not_looked_at(s: Setting, asked: Sequence[Asked] | None) -> Iterator[str]:
    """Yield a sentence for each of these checks that could not be made."""
    if not Standing(s, asked).known:
        yield "The design is not known and the program has very many sloping moves: thin walls were not looked for."
    if s.hold and strength(s.stock.material).energy is None:
        yield f"No cutting force is known for {s.stock.material}, so hold-downs (hold=) were held against none."
