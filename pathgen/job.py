"""`Job`: stock + machine + cuts. The only room that sees both sides: it plans the texts, and has them proved."""

from __future__ import annotations

import dataclasses
import hashlib
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import KW_ONLY, dataclass, field
from pathlib import Path as FilePath
from typing import TYPE_CHECKING, Any, Literal, TypeAlias

import shapely
from shapely.geometry import Point
from shapely.geometry.base import BaseGeometry

from pathgen.errors import ArgumentError, NotProvedError, positive, yes_or_no
from pathgen.jobcheck import Accepted, are_texts, check_arguments, check_cut, flatten, list_of, pairs
from pathgen.model.artwork import HasRegion
from pathgen.model.cut import Cut, Stop
from pathgen.model.findings import Finding
from pathgen.model.heightmap import HeightMap, check_cut_stock
from pathgen.model.holding import Hold, KeepOut, Screws, Tape, Vacuum
from pathgen.model.machine import Machine
from pathgen.model.program import Program
from pathgen.model.stock import Stock
from pathgen.program.faced import cut_shapes, footprint, lowered, parted
from pathgen.program.uneven import height_notes, laid_on

if TYPE_CHECKING:
    from pathgen.cuts.inlay import Inlay
    from pathgen.motion.time import Time
    from pathgen.proof.mate import Mating
    from pathgen.proof.report import Proof

Cuts: TypeAlias = "Cut | Stop | Iterable[Cuts]"

CLEARANCE = 5.0
"""Least height of rapids over the stock and over every keep-out, mm. Common practice, no source."""

SIZE_MISTAKES = (25.4, 1 / 25.4, 96 / 72, 72 / 96, 96 / 90, 90 / 96)
"""Ratios that appear when inches are read as mm, or one drawing resolution as another."""

ACCEPTABLE = ("gouge", "residual")
"""The only findings that may be accepted, each with its amount."""

CUT_BEFORE = "The stock was cut before (stock_after=): thin walls between both works were not looked for."
"""What a proof on a stock that is no longer whole leaves unchecked."""

TOUCH_ROOM = 3.0
"""Radius of the uncut spot on which a tool is set, mm: room for a setting block or a sheet of paper."""

TOUCH_LEAST = 0.8
"""Radius of the smallest spot that will do, mm: the proof looks half a millimeter to each side."""


@dataclass(frozen=True, eq=False)
class Job:
    """A piece of work: everything that is cut from one stock in one set-up.

    Shapes are in stock coordinates: (0, 0) is the stock's lower left corner, Z = 0 its top face, mm.

    Args:
        name: for files, comments and the sheet.
        stock: the slab.
        machine: its limits and dialect.
        cuts: `Cut`, `Stop`, or nested sequences of them, as the cutting functions return them.
        at: where the stock's lower left corner lies in the machine's travel, (x, y) or (x, y, z of the face), mm;
            None = only the span is checked.
        keep_out: clamps, screws and fences.
        hold: stated hold-downs: `Tape`, `Vacuum`, `Screws`; screws are keep-outs too.
        touch_off: (x, y) where every tool is set on the face; None = the work zero if nothing cuts there,
            else the nearest uncut spot.
        artwork: the original, unmirrored art that the finished part must show.
        face: "top", or "back" for work cut into the rear face of clear stock and read from the front.
        confirmed: the front view of a back-side job was looked at and is right.
        minimum_left: least thickness that must remain under every cut that does not go through, mm.
        thin_wall: standing walls narrower than this are told, mm; None = by the material, its grain and the height.
        clearance: height of rapids over the stock's top, mm; raised to 5 mm above the highest keep-out.
        size: (width, height) asked of the finished piece, mm; checked against what the cuts give.
        order: "tools" groups cuts by tool, "listed" keeps the list.

    Raises:
        ArgumentError: for cuts planned on another stock, a piece larger than the stock, two tools with one
            number, and other things that cannot be carried out.
    """

    name: str
    stock: Stock
    machine: Machine
    cuts: tuple[Cut | Stop, ...]
    _: KW_ONLY
    at: Sequence[float] | None = None
    keep_out: Sequence[KeepOut] = ()
    hold: Sequence[Hold] = ()
    touch_off: tuple[float, float] | None = None
    artwork: HasRegion | BaseGeometry | None = None
    face: Literal["top", "back"] = "top"
    confirmed: bool = False
    minimum_left: float | None = None
    thin_wall: float | None = None
    clearance: float = CLEARANCE
    size: tuple[float, float] | None = None
    order: Literal["tools", "listed"] = "tools"
    notes: tuple[Finding, ...] = field(init=False, default=())
    _kept: dict[Any, Any] = field(init=False, default_factory=dict, repr=False)

    def __post_init__(self) -> None:
        from pathgen.program.link import arrange, number_tools

        if not isinstance(self.name, str) or not self.name.strip():
            raise ArgumentError("a job needs a name: it stands in every file and on the sheet")
        put = object.__setattr__
        put(self, "keep_out", list_of("keep_out", self.keep_out, KeepOut))
        put(self, "hold", list_of("hold", self.hold, Tape, Vacuum, Screws))
        screws = [k for h in self.hold if isinstance(h, Screws) for k in h.keep_outs]
        put(self, "keep_out", (*self.keep_out, *(k for k in screws if k not in self.keep_out)))
        check_arguments(self)
        listed = tuple(flatten(self.cuts))
        if not any(isinstance(c, Cut) for c in listed):
            raise ArgumentError(f"job {self.name!r} has no cuts: give what vgroove(), pocket(), profile() … return")
        for cut in listed:
            if isinstance(cut, Cut):
                check_cut(cut, self.stock)
        highest = max((k.height for k in self.keep_out), default=-math.inf)
        put(self, "clearance", max(float(self.clearance) + math.ceil(10 * self.stock.rise) / 10, highest + CLEARANCE))
        number_tools([c for c in listed if isinstance(c, Cut)])
        ordered = arrange(listed, order=self.order)
        put(self, "cuts", laid_on(lowered(ordered, self.stock), self.stock))
        spot, spot_notes = self._touch_spot()
        put(self, "touch_off", spot)
        put(self, "notes", (*spot_notes, *height_notes(self.stock, spot), *self._size_notes()))

    # -- what is asked -------------------------------------------------------------------------------------------

    @property
    def tool_cuts(self) -> tuple[Cut, ...]:
        """The cuts without the stops, in order."""
        return tuple(c for c in self.cuts if isinstance(c, Cut))

    @property
    def finished_size(self) -> tuple[float, float]:
        """Width and height of the finished piece, mm: of what is cut free, else of all that is cut."""
        through = [shape for c in self.tool_cuts for shape in parted(c)]
        inner = [c for c in self.tool_cuts if not c.face_depth and not c.open_edges]
        shapes = through or [shape for c in inner for shape in cut_shapes(c.bounds)]
        shapes = [s for s in shapes if not s.is_empty] or [self.stock.region]
        x0, y0, x1, y1 = shapely.union_all([shapely.box(*s.bounds) for s in shapes]).bounds
        return x1 - x0, y1 - y0

    def _touch_spot(self) -> tuple[tuple[float, float], tuple[Finding, ...]]:
        """Where tools are set, and a note where that is not the work zero."""
        on_table, board = self.stock.zero_height == "table", self.stock.region
        cut_away = shapely.union_all([footprint(c.bounds) for c in self.tool_cuts if not c.face_depth])
        kept_out = shapely.union_all([k.region for k in self.keep_out])
        if self.touch_off is not None:
            x, y = (float(v) for v in self.touch_off)
            if not on_table and not board.buffer(1e-6).intersects(Point(x, y)):
                raise ArgumentError(
                    f"touch_off=({x:g}, {y:g}) lies beside the stock, where there is no face to set tools on: choose a "
                    "spot on it, or set zero_height='table'"
                )
            if kept_out.intersects(Point(x, y)):
                raise ArgumentError(
                    f"touch_off=({x:g}, {y:g}) lies under a keep-out, where no tool may go: choose a spot beside it"
                )
            if not on_table and cut_away.intersects(Point(x, y)):
                raise ArgumentError(
                    f"touch_off=({x:g}, {y:g}) is cut away by the job, so later tools would be set too low: choose a "
                    "spot that stays, or set zero_height='table'"
                )
            return (x, y), ()
        zero = self.stock.zero_xy
        beside = not board.buffer(1e-6).intersects(Point(zero))
        covered = kept_out.intersects(Point(zero))
        if on_table or not (beside or covered or cut_away.intersects(Point(zero))):
            return zero, ()
        left = board.buffer(-TOUCH_ROOM).difference(shapely.union(cut_away, kept_out).buffer(TOUCH_ROOM))
        if left.is_empty:
            left = board.difference(shapely.union(cut_away, kept_out).buffer(TOUCH_LEAST))
        why = "lies beside the stock" if beside else "lies under a keep-out" if covered else "is cut away by this job"
        if left.is_empty:
            raise ArgumentError(
                f"the work zero {why} and no uncut spot is left to set tools on: give touch_off=(x, y) beside the "
                "work, or set zero_height='table'"
            )
        near = shapely.get_coordinates(shapely.shortest_line(left, Point(zero)))[0].round(1)
        spot = (float(near[0]), float(near[1]))
        note = Finding(
            code="touch-off-moved",
            severity="note",
            text=f"The work zero {why}, so tools are set at ({spot[0]:g}, {spot[1]:g}) on the face.",
            advice="Give touch_off=(x, y) for another spot.",
            where=(*spot, 0.0),
        )
        return spot, (note,)

    def _size_notes(self) -> Iterator[Finding]:
        """Yield findings on the finished size; raise where it cannot be."""
        width, height = self.finished_size
        stock = self.stock
        if width > stock.width + 1e-6 or height > stock.height + 1e-6:
            raise ArgumentError(
                f"the finished piece measures {width:.2f} x {height:.2f} mm, the stock {stock.width:g} x "
                f"{stock.height:g} mm: place() the art into the stock, or take a larger stock"
            )
        asked = self.size
        off = 0.0 if asked is None else max(abs(width - asked[0]), abs(height - asked[1]))
        if asked is not None and off > 0.01 * max(asked):
            yield Finding(
                code="size-differs",
                severity="warning",
                text=f"The piece comes out {width:.2f} x {height:.2f} mm, asked was {asked[0]:g} x {asked[1]:g} mm.",
                advice="Check the drawing's units and place().",
                amount=off,
            )
        guessed = bool(getattr(self.artwork, "units_guessed", False)) or any(c.units_guessed for c in self.tool_cuts)
        target = self.size or (stock.width, stock.height)
        if guessed and target:
            for ratio in SIZE_MISTAKES:
                if abs(width * ratio / target[0] - 1) < 0.01 and abs(height * ratio / target[1] - 1) < 0.01:
                    yield Finding(
                        code="size-mistaken",
                        severity="warning",
                        text=f"The drawing states no unit, and {ratio:.4g} times its size would be {target[0]:g} x "
                        f"{target[1]:g} mm.",
                        advice="Give read(units=…) if the size is wrong.",
                        amount=ratio,
                    )

    # -- the programs and their proof ----------------------------------------------------------------------------

    def _told(self, header: tuple[str, ...] = (), unproved: bool = False) -> dict[str, Any]:
        """Return what the writer of programs is told beside the cuts."""
        return {
            "name": self.name,
            "stock": self.stock,
            "machine": self.machine,
            "clearance": self.clearance,
            "keep_out": tuple(self.keep_out),
            "touch_off": self.touch_off,
            "size": self.finished_size,
            "header": header,
            "unproved": unproved,
            "back": self.face == "back",
        }

    def _texts(self, *, header: tuple[str, ...] = (), unproved: bool = False) -> tuple[Program, ...]:
        key = ("texts", header, unproved)
        if key not in self._kept:
            from pathgen.program.write import programs

            self._kept[key] = programs(self.cuts, **self._told(header, unproved))
        kept: tuple[Program, ...] = self._kept[key]
        return kept

    def prove(
        self,
        *,
        texts: Sequence[str] | None = None,
        grid: float | None = None,
        stock_after: HeightMap | None = None,
    ) -> Proof:
        """Cut the written texts in simulation and hold the part against what was asked.

        Args:
            texts: program texts in order; None = the job's own.
            grid: step of the height field, mm; None = chosen from tools and detail, or that of `stock_after`.
            stock_after: the stock as an earlier proof left it (its `.height`), where this job goes on with a stock
                that another one has cut; None = a whole slab.

        Returns:
            The proof; kept, so that asking again costs nothing.

        Raises:
            ArgumentError: for texts that are none, and for a height map of another slab or another step than `grid`.
        """
        if texts is not None and not are_texts(texts):
            raise ArgumentError("texts must be a list of program texts, such as [p.text for p in job.programs()]")
        if stock_after is not None:
            check_cut_stock(stock_after, self.stock, grid)
        written = tuple(p.text for p in self._texts())
        told = written if texts is None else tuple(texts)
        marked = hashlib.sha256("\0".join(told).encode("utf-8", "surrogatepass")).hexdigest()
        asked = tuple((c.tool, c.bounds) for c in self.tool_cuts)
        key = ("proof", marked, grid, self.stock, asked, stock_after and stock_after.digest)
        if key not in self._kept:
            self._kept[key] = self._proof_of(told, grid=grid, stock_after=stock_after, own=told == written)
        kept: Proof = self._kept[key]
        return kept

    def _proof_of(
        self, texts: tuple[str, ...], *, grid: float | None, stock_after: HeightMap | None, own: bool
    ) -> Proof:
        """Prove texts, keeping nothing: see `prove`; `own` = they were written by pathgen."""
        from pathgen.proof.prove import prove

        art = self.artwork
        proof = prove(
            texts,
            tools={number: tool for p in self._texts() for number, tool in p.tools.items()},
            stock=self.stock,
            machine=self.machine,
            bounds=tuple((c.name, c.tool, c.bounds) for c in self.tool_cuts),
            keep_out=tuple(self.keep_out),
            hold=tuple(self.hold),
            clearance=self.clearance,
            at=self.at,
            touch_off=self.touch_off,
            grid=grid,
            stock_after=stock_after,
            artwork=art if art is None or isinstance(art, BaseGeometry) else art.region,
            face=self.face,
            confirmed=self.confirmed,
            minimum_left=self.minimum_left,
            thin_wall=self.thin_wall,
            own=own,
        )
        if stock_after is not None:
            proof = dataclasses.replace(proof, unchecked=(*proof.unchecked, CUT_BEFORE))
        planned = (dataclasses.replace(n, cut=n.cut or c.name) for c in self.tool_cuts for n in c.notes)
        return proof.with_findings([*self.notes, *planned])

    def programs(self, *, unproved: bool = False) -> tuple[Program, ...]:
        """Return the programs, proved.

        Args:
            unproved: hand them out without a proof; line 1 then says NOT PROVED and they stop before the first motion.

        Raises:
            NotProvedError: if the proof found an error.
        """
        yes_or_no("unproved", unproved)
        if unproved:
            return self._texts(unproved=True)
        self._refuse(self.prove(), ())
        return self._texts()

    def _refuse(self, proof: Proof, accept: Sequence[Accepted]) -> tuple[str, ...]:
        """Raise unless every error is accepted; return a header line for each accepted finding."""
        allowed: dict[str, float] = {}
        for code, amount in pairs(accept):
            if code not in ACCEPTABLE:
                raise ArgumentError(f"accept: {code!r} can never be accepted; only {' and '.join(ACCEPTABLE)} can")
            allowed[code] = max(allowed.get(code, 0.0), positive("accepted amount", amount))
        lines, refused = [], []
        for f in proof.findings:
            if f.severity != "error":
                continue
            if f.code in allowed and f.amount is not None and f.amount <= allowed[f.code] + 1e-9:
                place = "" if f.where is None else " at {:.1f} {:.1f}".format(*f.where[:2])
                lines.append(f"accepted {f.code} {f.amount:.3f} mm{place}")
            else:
                refused.append(f)
        if refused:
            more = f"\n… and {len(refused) - 8} more" if len(refused) > 8 else ""
            listed = "\n".join(str(f) for f in refused[:8])
            raise NotProvedError(
                f"job {self.name!r} is not proved, so nothing is handed out:\n{listed}{more}", proof=proof
            )
        return tuple(dict.fromkeys(lines))

    def time(self) -> Time:
        """Return how long the machine takes, by cut and by tool, tool changes included; seconds."""
        if "time" not in self._kept:
            from pathgen.motion.read import read_program
            from pathgen.motion.time import time, total

            self._kept["time"] = total(
                [time(read_program(p.text), self.machine) for p in self._texts()],
                change_time=self.machine.change_time,
            )
        kept: Time = self._kept["time"]
        return kept

    def write(
        self,
        folder: str | FilePath,
        *,
        accept: Sequence[Accepted] = (),
        grid: float | None = None,
        suffix: str = ".rs274",
    ) -> list[FilePath]:
        """Prove, then write the programs, the setup sheet and two pictures (the plan, the part) into `folder`.

        Args:
            folder: made if it is not there.
            accept: (code, amount in mm) for a gouge or residual that is accepted up to that amount; each stands
                in the programs' headers and on the sheet.
            grid: see `prove`.
            suffix: of the program files.

        Returns:
            The files written, programs first: all of them or, on an error, none, and none is ever half there.

        Raises:
            NotProvedError: if the proof found an error; then nothing is written.
            WriteError: if the folder or a file in it cannot be written; then it is left as it was.
        """
        from pathgen.program.files import check_suffix, folder_for, write_all
        from pathgen.program.words import file_name
        from pathgen.sheet.page import setup_sheet

        check_suffix(suffix)
        into = folder_for(folder)
        proof = self.prove(grid=grid)
        header = self._refuse(proof, accept)
        ready = self._texts(header=header)
        if header:  # the accepted findings stand in the texts now, so it is these that are proved
            proof = self.prove(texts=[p.text for p in ready], grid=grid)
            self._refuse(proof, accept)
        stem = file_name(self.name)
        files: dict[str, str | bytes] = {p.name + suffix: p.text for p in ready}
        files[stem + ".html"] = setup_sheet(self, proof=proof, accepted=header, suffix=suffix)
        files[stem + ".svg"] = self._repr_svg_()
        files[stem + ".png"] = self.picture()
        return write_all(into, files)

    def picture(self, *, finished: bool = False) -> bytes:
        """Return a PNG of the part as its own programs cut it in simulation; of back-side work the front view.

        Args:
            finished: show the piece out of its frame.
        """
        from pathgen.sheet.part import part_picture

        return part_picture(self, finished=finished)

    def _repr_svg_(self) -> str:
        """Return the plan seen from above as SVG, for notebooks."""
        from pathgen.sheet.picture import paths_svg

        return paths_svg(self.tool_cuts, self.stock, keep_out=self.keep_out, touch_off=self.touch_off, title=self.name)


def mate(pocket: Job, plug: Job, *, asked: Inlay | None = None) -> Mating:
    """Put a plug into its pocket, both as their own programs cut them, and measure the fit.

    Args:
        pocket: the job that cuts the recess.
        plug: the job that cuts the piece.
        asked: the inlay that both were planned from; None: the halves are laid over each other by the boxes of what
            they cut, and the fit is measured without being held against numbers.

    Returns:
        The fit, with a finding for everything that does not.

    Raises:
        ArgumentError: where one of both cuts nothing that could fit the other.
    """
    from pathgen.cuts.inlay import Inlay
    from pathgen.program.faced import registered
    from pathgen.proof.mate import Half, Wanted
    from pathgen.proof.mate import mate as put_together

    for word, job in (("pocket", pocket), ("plug", plug)):
        if not isinstance(job, Job):
            raise ArgumentError(f"{word}={job!r} is no job: give Job(name, stock, machine, cuts)")
    if asked is not None and not isinstance(asked, Inlay):
        raise ArgumentError(f"asked={asked!r} is no inlay: give what inlay() or tapered_inlay() returned, or None")
    halves = []
    for job in (pocket, plug):
        programs = job._texts()
        tools = {number: tool for p in programs for number, tool in p.tools.items()}
        halves.append(Half(texts=[p.text for p in programs], tools=tools, stock=job.stock))
    straight = any(c.through for c in plug.tool_cuts) if asked is None else asked.kind == "straight"
    place = asked.place if asked else registered(pocket.tool_cuts, plug.tool_cuts, turned=not straight)
    wanted = Wanted(
        clearance=asked.clearance if asked else None,
        under_gap=asked.under_gap if asked else None,
        proud=asked.proud if asked else None,
        positioning=max(pocket.machine.positioning, plug.machine.positioning),
    )
    return put_together(halves[0], halves[1], kind="straight" if straight else "tapered", place=place, wanted=wanted)
