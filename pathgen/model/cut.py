"""`Cut`: one tool doing one thing to the stock."""

from __future__ import annotations

from dataclasses import dataclass, field

from shapely.geometry import MultiPolygon

from pathgen.errors import ArgumentError
from pathgen.model.bounds import Bounds
from pathgen.model.findings import Finding
from pathgen.model.path import Pass
from pathgen.model.stock import Stock
from pathgen.model.tool import Cutting, Tool


@dataclass(frozen=True, eq=False, kw_only=True)
class Cut:
    """One tool doing one thing, planned; the order of its passes is bound only by `Pass.after` and `Pass.level`.

    Attributes:
        name: what is cut, for comments and the sheet ("V-groove", "outline", …).
        tool: with its outline.
        cutting: speeds and steps.
        passes: see `Pass`.
        bounds: what was asked.
        depth: deepest z the passes reach, positive mm.
        travel: (z, region) for each level: where the tool's center may move at height z and above once that
            level is done.
        notes: what the planner has to say.
        unreached: what the plan says this tool cannot reach; a note to the reader, never an excuse to the proof.
        stock: the stock it was planned on, or None.
        through: it parts the board, so it runs last.
        open_edges: it may leave the stock's outline while cutting.
        face_depth: how far this cut lowers the whole face (facing), mm.
        after: cuts that must run before this one (rest clearing).
        units_guessed: the drawing did not state its unit.
    """

    name: str
    tool: Tool
    cutting: Cutting
    passes: tuple[Pass, ...]
    bounds: Bounds
    depth: float
    travel: tuple[tuple[float, MultiPolygon], ...] = ()
    notes: tuple[Finding, ...] = ()
    unreached: MultiPolygon = field(default_factory=MultiPolygon)
    stock: Stock | None = None
    through: bool = False
    open_edges: bool = False
    face_depth: float = 0.0
    after: tuple[Cut, ...] = ()
    units_guessed: bool = False


@dataclass(frozen=True)
class Stop:
    """A stop among the cuts: the program ends (or waits, where Z may be set again) and the operator acts.

    Args:
        message: what to do, in words.
    """

    message: str

    def __post_init__(self) -> None:
        if not isinstance(self.message, str) or not self.message.strip():
            raise ArgumentError(f"Stop({self.message!r}): say in words what the operator is to do")
