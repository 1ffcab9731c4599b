"""Rules by which good programs are damaged, to see whether the proof notices.

Each rule is a generator over the texts of a good job (`mutant_jobs`), decorated with how many of its mutants are kept
for each job. What a mutant owes:

must
    A rule of programs is broken: the proof must find an error with one of these codes.
harmless
    The standard and common practice allow it and the part stays as it is: the proof must find no error.
neither
    What it does to the part is measured apart (`mutant_measure`): changed by more than 0.05 mm, it must be refused
    with one of `codes`; else it is an equivalent, and counted only.
"""

import dataclasses
import functools
import math
import random
import re
from dataclasses import dataclass, field

import mutant_jobs
from mutant_jobs import BIT, good
from shapely.affinity import scale
from shapely.geometry import MultiPolygon, Point, box

import pathgen as pg
from pathgen.model.tool import BallNose, DiamondPoint, Drill, EndMill, TrailingKnife, VBit

CHANGED = 0.05
"""A part changed by more than this must be refused, mm normal to its surface."""

SHAPE = frozenset({"gouge", "residual", "not-through", "too-little-left", "loose-piece", "below-table"})
"""Codes that say that the part is not what was asked."""

RAPID = frozenset({"rapid-in-material", "rapid-low", "rapid-diagonal", "rapid-onto-face", "first-move"})
"""Codes of rapids; where one goes through the part, either says so."""

ARC = frozenset(
    {"arc-radii-differ", "arc-end-missing", "arc-center-missing", "arc-zero-radius", "arc-wrong-offset"}
    | {"own-full-circle", "stray-word"}
)
"""Codes of arcs that do not fit together."""

SHARE = 0.1
"""Amount of most shifts, mm: twice what must be noticed."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Mutant:
    """One damaged set of programs.

    Attributes:
        rule: name of the rule that made it.
        job: name of the good job.
        what: what was done, and where.
        texts: the damaged programs.
        more: other arguments of the proof that were changed.
        must: an error with one of these codes is owed.
        must_say: a finding of any severity with one of these codes is owed.
        harmless: no error may be found.
        codes: errors that count where the part is changed.
    """

    rule: str
    job: str
    what: str
    texts: tuple[str, ...]
    more: dict = field(default_factory=dict)
    must: frozenset[str] = frozenset()
    must_say: frozenset[str] = frozenset()
    harmless: bool = False
    codes: frozenset[str] = SHAPE

    def __str__(self):
        return f"{self.rule} / {self.job} / {self.what}"


LIKE_ANOTHER = ("inch", "no arcs", "changer")
"""Jobs that are the sign in another dialect: each is damaged by a seeded third of the rules."""

RULES = {}


def rule(name, most, *, jobs=None):
    """Register a generator of arguments of `Mutant`; at most `most` are kept for each job, by a seeded choice."""

    def register(make):
        @functools.cache
        def mutants(job):
            chance = random.Random(f"{name} {job}")
            if (job not in jobs) if jobs is not None else (job in LIKE_ANOTHER and chance.random() > 1 / 3):
                return ()
            every = list(make(good(job)))
            kept = sorted(chance.sample(range(len(every)), min(most, len(every))))
            return tuple(Mutant(rule=name, job=job, **every[k]) for k in kept)

        RULES[name] = mutants
        return make

    return register


def every_mutant(*, full=False):
    """Return mutants of all rules.

    Args:
        full: of every job that a rule fits; else of a seeded half of them, but of all where a rule fits two or fewer.
    """
    out = []
    for name, make in RULES.items():
        fitting = [job for job in mutant_jobs.NAMES if make(job)]
        half = fitting if len(fitting) <= 2 else random.Random(name).sample(fitting, (len(fitting) + 1) // 2)
        out += [m for job in fitting if full or job in half for m in make(job)]
    return out


# -- text ------------------------------------------------------------------------------------------------------------

NUMBER = r"-?(?:\d+\.?\d*|\.\d+)"


@dataclass(frozen=True)
class Line:
    """One line with the state it is carried out in.

    Attributes:
        index: in the text, from 0.
        text: as it stands.
        words: letter to number, last of each.
        motion: 0, 1, 2, 3 or a cycle, where the line moves; None where it does not.
        z: height after the line, program units; None before it is known.
        before: the same before the line.
        xy: place before the line, program units; None where not known.
        end: place after it.
        cut: number of the cut, 0 before the first.
        part: number of the pass, counted through.
    """

    index: int
    text: str
    words: dict
    motion: int | None
    z: float | None
    before: float | None
    xy: tuple
    end: tuple
    cut: int
    part: int

    def has(self, letters):
        """Whether all these words stand on the line."""
        return all(a in self.words for a in letters)


@functools.cache
def read(text):
    """Return the lines of one of our own programs, absolute coordinates throughout."""
    out, motion, z, xy, cut, part = [], None, None, (None, None), 0, 0
    for index, line in enumerate(text.splitlines()):
        if found := re.match(r"\(CUT (\d+)", line):
            cut, part = int(found[1]), part + 1
        if line.startswith("(PASS"):
            part += 1
        bare = re.sub(r"\(.*?\)", "", line)
        words = {a: float(v) for a, v in re.findall(rf"([A-Z])\s*({NUMBER})", bare)}
        for code in re.findall(r"G(\d+)", bare):
            if int(code) in (0, 1, 2, 3, 80, 81, 82, 83):
                motion = int(code)
        moves = any(a in words for a in "XYZ") and "53" not in re.findall(r"G(\d+)", bare)
        before, was = z, xy
        if moves:
            z = words.get("Z", z)
            xy = (words.get("X", xy[0]), words.get("Y", xy[1]))
        out.append(Line(index, line, words, motion if moves else None, z, before, was, xy, cut, part))
    return tuple(out)


def put(texts, k, changes, *, drop=(), insert=None):
    """Return all texts with lines of the k-th changed.

    Args:
        texts: the programs.
        k: which.
        changes: index of a line to its new text.
        drop: indices of lines that go.
        insert: index of a line to the text put in before it.
    """
    lines = texts[k].splitlines()
    gone, more = set(drop), insert or {}
    out = []
    for i, line in enumerate(lines):
        if i in more:
            out.append(more[i])
        if i not in gone:
            out.append(changes.get(i, line))
    return (*texts[:k], "\n".join(out) + "\n", *texts[k + 1 :])


def word(line, letter, value):
    """Return a line with one word's number replaced; value is a number or a function of the old one."""

    def new(found):
        v = value(float(found[1])) if callable(value) else value
        return f"{letter}{v:.5f}".rstrip("0").rstrip(".")

    head, *remarks = line.split("(", 1)
    return "(".join([re.sub(rf"{letter}({NUMBER})", new, head), *remarks])


SAMPLED = 8
"""Places that a rule tries of all there are, by a seeded choice."""


def sampled(places):
    """Return at most `SAMPLED` places of all, in order."""
    every = list(places)
    if len(every) <= SAMPLED:
        return every
    return [every[k] for k in sorted(random.Random(len(every)).sample(range(len(every)), SAMPLED))]


def added(text, letter, amount):
    """Return a line with an amount added to one word."""
    return word(text, letter, lambda v: v + amount)


def times(text, letter, factor):
    """Return a line with one word multiplied."""
    return word(text, letter, lambda v: v * factor)


def lines_of(g, wanted=lambda line: True):
    """Return (program, line) of lines that are wanted, a sample of them."""
    return sampled((k, line) for k, text in enumerate(g.texts) for line in read(text) if wanted(line))


def pairs_of(g, wanted, apart=1):
    """Return (program, line, line `apart` further on) of pairs that are wanted, a sample of them."""
    every = ((k, a, b) for k, t in enumerate(g.texts) for a, b in zip(read(t), read(t)[apart:], strict=False))
    return sampled(p for p in every if wanted(p[1], p[2]))


def unit(g, k):
    """Return mm in one unit of a program."""
    return _unit(g.texts[k])


@functools.cache
def _unit(text):
    return 25.4 if re.search(r"\bG20\b", text) else 1.0


def cutting(line):
    """Whether a line feeds at or below the face."""
    return line.motion in (1, 2, 3) and line.z is not None and line.z < 0


def spins(g, k):
    """Whether a program's tool turns."""
    return re.search(r"M3\b", g.texts[k]) is not None


def at(k, line, what=""):
    """Return words for a place."""
    return f"program {k + 1} line {line.index + 1} {line.text!r} {what}".strip()


# -- heights ---------------------------------------------------------------------------------------------------------


def _shifted(g, k, chosen, amount):
    changes = {x.index: added(x.text, "Z", amount / unit(g, k)) for x in read(g.texts[k]) if chosen(x)}
    return put(g.texts, k, changes)


def _low(line):
    return line.has("Z") and line.words["Z"] < 0


@rule("shift Z of a whole program", 4)
def _(g):
    for k in range(len(g.texts)):
        for amount in (SHARE, -SHARE, 0.2, -0.06):
            yield {"what": f"program {k + 1} by {amount}", "texts": _shifted(g, k, _low, amount)}


@rule("shift Z of one cut", 2)
def _(g):
    for k, text in enumerate(g.texts):
        for cut in sorted({x.cut for x in read(text) if x.cut}):
            for amount in (SHARE, -SHARE):
                texts = _shifted(g, k, lambda x, cut=cut: x.cut == cut and _low(x), amount)
                yield {"what": f"cut {cut} by {amount}", "texts": texts}


@rule("shift Z of one pass", 4)
def _(g):
    for k, text in enumerate(g.texts):
        for part in sorted({x.part for x in read(text) if cutting(x)}):
            for amount in (SHARE, -SHARE, 0.4):
                texts = _shifted(g, k, lambda x, part=part: x.part == part and _low(x), amount)
                yield {"what": f"program {k + 1} pass {part} by {amount}", "texts": texts}


@rule("shift Z of one line", 2)
def _(g):
    for k, line in lines_of(g, lambda x: cutting(x) and _low(x)):
        for amount in (SHARE, -SHARE):
            yield {
                "what": at(k, line, f"by {amount}"),
                "texts": _shifted(g, k, lambda x, line=line: x.index == line.index, amount),
            }


@rule("scale Z", 2)
def _(g):
    for k in range(len(g.texts)):
        for factor in (1.02, 0.98):
            changes = {x.index: times(x.text, "Z", factor) for x in read(g.texts[k]) if _low(x)}
            yield {"what": f"program {k + 1} by {factor}", "texts": put(g.texts, k, changes)}


@rule("deepest strokes all but one too high", 2)
def _(g):
    """One stroke at full depth must not speak for all others."""
    for k, text in enumerate(g.texts):
        low = [x for x in read(text) if cutting(x) and _low(x)]
        for cut in sorted({x.cut for x in low}):
            own = [x for x in low if x.cut == cut]
            deepest = min(x.words["Z"] for x in own)
            bottom = [x.index for x in own if x.words["Z"] <= deepest + 1e-9]
            if len(bottom) > 1:
                texts = _shifted(g, k, lambda x, b=bottom: x.index in b[1:], 0.6)
                yield {"what": f"cut {cut}, {len(bottom) - 1} lines up by 0.6", "texts": texts}


@rule("cut far below the board", 1, jobs=("sign", "inch", "back", "handmade", "inside", "changer"))
def _(g):
    stock = g.settings["stock"]
    for k, text in enumerate(g.texts):
        bottom = -stock.thickness / unit(g, k)
        deep = [x for x in read(text) if x.has("Z") and x.words["Z"] < bottom]
        if deep:
            texts = _shifted(g, k, lambda x, b=bottom: x.has("Z") and x.words["Z"] < b, -2.0)
            yield {"what": f"program {k + 1}", "texts": texts, "must": frozenset({"below-table"})}


# -- lines dropped, doubled, swapped -----------------------------------------------------------------------------------


@rule("drop an entry", 2)
def _(g):
    for k, line in lines_of(g, lambda x: x.motion == 1 and x.has("Z") and x.before is not None and x.z < x.before):
        yield {"what": at(k, line), "texts": put(g.texts, k, {}, drop=[line.index]), "codes": SHAPE | RAPID | ARC}


@rule("drop a line of a cut", 6)
def _(g):
    for k, line in lines_of(g, cutting):
        yield {"what": at(k, line), "texts": put(g.texts, k, {}, drop=[line.index]), "codes": SHAPE | ARC}


@rule("drop a lift", 2)
def _(g):
    for k, line in lines_of(g, lambda x: x.motion == 0 and x.has("Z") and x.before is not None and x.before < 0):
        yield {"what": at(k, line), "texts": put(g.texts, k, {}, drop=[line.index]), "codes": SHAPE | RAPID | ARC}


@rule("drop a pass", 2)
def _(g):
    for k, text in enumerate(g.texts):
        parts = sorted({x.part for x in read(text) if cutting(x)})
        for part in parts:
            gone = [x.index for x in read(text) if x.part == part and cutting(x)]
            yield {"what": f"program {k + 1} pass {part}, {len(gone)} lines", "texts": put(g.texts, k, {}, drop=gone)}


@rule("drop the tool", 1)
def _(g):
    if len(g.settings["tools"]) > 1:
        for k, text in enumerate(g.texts):
            gone = [x.index for x in read(text) if re.match(r"T\d|\(Tool T", x.text)]
            texts = put(g.texts, k, {}, drop=gone)
            yield {"what": f"program {k + 1}", "texts": texts, "must": frozenset({"no-tool-named", "unknown-tool"})}


@rule("drop the spindle start", 1)
def _(g):
    for k, line in lines_of(g, lambda x: re.search(r"M3\b", x.text)):
        yield {"what": at(k, line), "texts": put(g.texts, k, {}, drop=[line.index]), "must": frozenset({"spindle-off"})}


@rule("drop the wait for the spindle", 1)
def _(g):
    for k, _, b in pairs_of(g, lambda a, b: re.search(r"M3\b", a.text) and b.text.startswith("G4")):
        texts = put(g.texts, k, {}, drop=[b.index])
        yield {"what": at(k, b), "texts": texts, "must": frozenset({"no-spin-up"})}


@rule("drop the wait before a tool change", 1, jobs=("changer",))
def _(g):
    lines = read(g.texts[0])
    for k, line in enumerate(lines):
        if line.text.startswith("G4") and lines[k + 1].text.startswith("T2"):
            texts = put(g.texts, 0, {}, drop=[line.index])
            yield {"what": at(0, line), "texts": texts, "must": frozenset({"no-spin-down"})}


@rule("drop a line of modes that only warns", 1)
def _(g):
    for k, line in lines_of(g, lambda x: re.fullmatch("G54|G61", x.text)):
        yield {"what": at(k, line), "texts": put(g.texts, k, {}, drop=[line.index]), "harmless": True}


@rule("drop the line of modes", 1)
def _(g):
    for k, line in lines_of(g, lambda x: x.text.startswith(("G21", "G20", "G17 "))):
        yield {"what": at(k, line), "texts": put(g.texts, k, {}, drop=[line.index])}


@rule("drop a CUT comment", 1)
def _(g):
    for k, line in lines_of(g, lambda x: x.text.startswith("(CUT")):
        yield {"what": at(k, line), "texts": put(g.texts, k, {}, drop=[line.index])}


@rule("drop all CUT comments and lift the last cut", 1)
def _(g):
    k = len(g.texts) - 1
    lines = read(g.texts[k])
    last = max(x.cut for x in lines)
    lifted = _shifted(g, k, lambda x: x.cut == last and _low(x), 0.7)
    gone = [x.index for x in lines if x.text.startswith("(CUT")]
    yield {"what": f"cut {last} up by 0.7", "texts": put(lifted, k, {}, drop=gone)}


@rule("CUT comments in another order", 1)
def _(g):
    for k, text in enumerate(g.texts):
        marks = [x for x in read(text) if x.text.startswith("(CUT")]
        if len(marks) > 1:
            changes = {a.index: b.text for a, b in zip(marks, [*marks[1:], marks[0]], strict=True)}
            yield {"what": f"program {k + 1}", "texts": put(g.texts, k, changes)}


@rule("drop the first retract", 1)
def _(g):
    for k, text in enumerate(g.texts):
        first = next(x for x in read(text) if x.motion is not None)
        if first.has("Z"):
            texts = put(g.texts, k, {first.index: "G0"}) if first.text.startswith("G0") else g.texts
            yield {"what": at(k, first), "texts": texts, "must": frozenset({"first-move", "no-axis-word"})}


@rule("cut the file short", 2)
def _(g):
    for k, text in enumerate(g.texts):
        lines = text.splitlines()
        for share in (0.3, 0.6, 0.9, 1.0):
            kept = max(1, min(int(share * len(lines)), len(lines) - 1))
            texts = (*g.texts[:k], "\n".join(lines[:kept]) + "\n", *g.texts[k + 1 :])
            yield {"what": f"program {k + 1} after line {kept}", "texts": texts, "must": frozenset({"no-end"})}


@rule("end in the middle", 2)
def _(g):
    for k, line in lines_of(g, cutting):
        texts = put(g.texts, k, {}, insert={line.index: "M2"})
        yield {"what": at(k, line), "texts": texts}


@rule("double a straight line", 2)
def _(g):
    for k, line in lines_of(g, lambda x: cutting(x) and x.motion == 1):
        texts = put(g.texts, k, {}, insert={line.index + 1: line.text})
        yield {"what": at(k, line), "texts": texts, "harmless": True}


@rule("double an arc", 1)
def _(g):
    for k, line in lines_of(g, lambda x: cutting(x) and x.motion in (2, 3) and x.has("IJXY")):
        texts = put(g.texts, k, {}, insert={line.index + 1: line.text})
        yield {"what": at(k, line), "texts": texts, "must": frozenset({"own-full-circle", "arc-radii-differ"})}


@rule("double a block", 1)
def _(g):
    for k, a, b in pairs_of(g, lambda a, b: cutting(a) and cutting(b) and a.part == b.part, 3):
        block = "\n".join(x.text for x in read(g.texts[k])[a.index : b.index + 1])
        texts = put(g.texts, k, {}, insert={b.index + 1: block})
        yield {"what": at(k, a, "and 3 more"), "texts": texts, "codes": SHAPE | ARC}


@rule("swap two lines", 2)
def _(g):
    for k, a, b in pairs_of(g, lambda a, b: cutting(a) and cutting(b) and a.text != b.text):
        texts = put(g.texts, k, {a.index: b.text, b.index: a.text})
        yield {"what": at(k, a), "texts": texts, "codes": SHAPE | ARC}


@rule("move one point", 5)
def _(g):
    for k, line in lines_of(g, lambda x: cutting(x) and x.motion == 1 and (x.has("X") or x.has("Y"))):
        letter = "X" if line.has("X") else "Y"
        for amount in (SHARE, -SHARE, 0.5):
            changed = added(line.text, letter, amount / unit(g, k))
            yield {
                "what": at(k, line, f"by {amount}"),
                "texts": put(g.texts, k, {line.index: changed}),
                "codes": SHAPE | ARC,
            }


# -- arcs ------------------------------------------------------------------------------------------------------------


def arcs(g):
    """Return (program, line) of arcs, a sample of them."""
    return lines_of(g, lambda x: x.motion in (2, 3) and (x.has("I") or x.has("J")))


@rule("swap G2 and G3", 2)
def _(g):
    for k, line in arcs(g):
        if found := re.match(r"G([23])\b", line.text):
            other = f"G{5 - int(found[1])}" + line.text[2:]
            yield {"what": at(k, line), "texts": put(g.texts, k, {line.index: other}), "codes": SHAPE | ARC}


@rule("shift I or J", 2)
def _(g):
    for k, line in arcs(g):
        for letter in "IJ":
            if line.has(letter):
                changed = added(line.text, letter, SHARE / unit(g, k))
                yield {
                    "what": at(k, line, letter),
                    "texts": put(g.texts, k, {line.index: changed}),
                    "codes": SHAPE | ARC,
                }


@rule("move an arc's center along its bisector", 2)
def _(g):
    """Both ends stay, the bulge changes: the radii still agree."""
    for k, line in arcs(g):
        if not line.has("IJ") or None in line.xy:
            continue
        (x0, y0), (x1, y1) = line.xy, line.end
        long = math.hypot(x1 - x0, y1 - y0)
        if long < 1e-6:
            continue
        for amount in (0.3, -0.3):
            dx, dy = -(y1 - y0) / long * amount / unit(g, k), (x1 - x0) / long * amount / unit(g, k)
            changed = added(added(line.text, "I", dx), "J", dy)
            yield {
                "what": at(k, line, f"by {amount}"),
                "texts": put(g.texts, k, {line.index: changed}),
                "codes": SHAPE | ARC,
            }


@rule("change an arc's end", 2)
def _(g):
    for k, line in arcs(g):
        for letter in "XY":
            if line.has(letter):
                changed = added(line.text, letter, SHARE / unit(g, k))
                yield {
                    "what": at(k, line, letter),
                    "texts": put(g.texts, k, {line.index: changed}),
                    "codes": SHAPE | ARC,
                }


@rule("move an arc's end along the arc", 2)
def _(g):
    for k, line in arcs(g):
        if not line.has("XY") or None in line.xy:
            continue
        cx, cy = line.xy[0] + line.words.get("I", 0.0), line.xy[1] + line.words.get("J", 0.0)
        turn = 0.1
        x, y = line.end[0] - cx, line.end[1] - cy
        changed = word(line.text, "X", cx + x * math.cos(turn) - y * math.sin(turn))
        changed = word(changed, "Y", cy + x * math.sin(turn) + y * math.cos(turn))
        yield {"what": at(k, line), "texts": put(g.texts, k, {line.index: changed}), "codes": SHAPE | ARC}


@rule("make an arc a full circle", 2)
def _(g):
    for k, line in arcs(g):
        if line.has("XYIJ") and None not in line.xy:
            changed = word(word(line.text, "X", line.xy[0]), "Y", line.xy[1])
            yield {
                "what": at(k, line),
                "texts": put(g.texts, k, {line.index: changed}),
                "must": frozenset({"own-full-circle"}),
            }


@rule("add a full circle", 1)
def _(g):
    for k, line in lines_of(g, lambda x: cutting(x) and x.motion == 1 and None not in x.end and x.has("XY")):
        x, y = line.end
        circle = f"G3 X{x:g} Y{y:g} I{1 / unit(g, k):.4f} J0\nG1"
        texts = put(g.texts, k, {}, insert={line.index + 1: circle})
        yield {"what": at(k, line), "texts": texts, "must": frozenset({"own-full-circle", "no-axis-word"})}


@rule("an arc without its center", 1)
def _(g):
    for k, line in arcs(g):
        changed = re.sub(rf" ?[IJ]{NUMBER}", "", line.text)
        texts = put(g.texts, k, {line.index: changed})
        yield {"what": at(k, line), "texts": texts, "must": frozenset({"arc-center-missing"})}


@rule("an arc as a line", 1)
def _(g):
    for k, line in arcs(g):
        if line.text.startswith(("G2 ", "G3 ")):
            texts = put(g.texts, k, {line.index: "G1" + line.text[2:]})
            yield {"what": at(k, line), "texts": texts, "must": frozenset({"stray-word"})}


# -- size and place --------------------------------------------------------------------------------------------------


@rule("scale X or Y by a thousandth", 4)
def _(g):
    for k in range(len(g.texts)):
        for letters in ("XI", "YJ"):
            for factor in (1.001, 0.999):
                changes = {}
                for line in read(g.texts[k]):
                    if line.motion is not None:
                        text = line.text
                        for letter in letters:
                            text = times(text, letter, factor)
                        changes[line.index] = text
                yield {
                    "what": f"program {k + 1} {letters[0]} by {factor}",
                    "texts": put(g.texts, k, changes),
                    "codes": SHAPE | ARC,
                }


def moved(g, k, dx, dy):
    """Return the texts with one program moved by (dx, dy) mm."""
    changes = {}
    for line in read(g.texts[k]):
        if line.motion is not None:
            text = added(line.text, "X", dx / unit(g, k))
            changes[line.index] = added(text, "Y", dy / unit(g, k))
    return put(g.texts, k, changes)


@rule("move a program", 3)
def _(g):
    for k in range(len(g.texts)):
        for dx, dy in ((0.08, 0.0), (0.0, -0.08), (0.06, 0.06), (0.5, 0.0)):
            yield {"what": f"program {k + 1} by {dx}, {dy}", "texts": moved(g, k, dx, dy)}


@rule("mirror a program", 1)
def _(g):
    stock = g.settings["stock"]
    middle = 0.5 * stock.width - stock.zero_xy[0]
    for k in range(len(g.texts)):
        changes = {}
        for line in read(g.texts[k]):
            if line.motion is not None:
                text = added(times(line.text, "X", -1), "X", 2 * middle / unit(g, k))
                text = times(text, "I", -1)
                changes[line.index] = re.sub(r"G([23])\b", lambda f: f"G{5 - int(f[1])}", text)
        yield {"what": f"program {k + 1}", "texts": put(g.texts, k, changes)}


@rule("X and Y swapped", 1)
def _(g):
    for k in range(len(g.texts)):
        table = str.maketrans("XYIJ", "YXJI")
        changes = {x.index: x.text.translate(table) for x in read(g.texts[k]) if x.motion is not None}
        yield {"what": f"program {k + 1}", "texts": put(g.texts, k, changes)}


@rule("round X and Y to a tenth", 1)
def _(g):
    for k in range(len(g.texts)):
        changes = {}
        for line in read(g.texts[k]):
            if line.motion is not None:
                changes[line.index] = word(word(line.text, "X", lambda v: round(v, 1)), "Y", lambda v: round(v, 1))
        if any(
            changes[x.index] != x.text and word(x.text, "X", float) != changes[x.index]
            for x in read(g.texts[k])
            if x.index in changes
        ):
            yield {"what": f"program {k + 1}", "texts": put(g.texts, k, changes), "codes": SHAPE | ARC}


@rule("inch for mm, mm for inch", 1)
def _(g):
    for k, line in lines_of(g, lambda x: re.match(r"G2[01]\b", x.text)):
        changed = line.text.replace("G20", "G2x").replace("G21", "G20").replace("G2x", "G21")
        other = {"codes": SHAPE | RAPID | {"feed-above-machine", "outside-travel", "cuts-nothing"}}
        yield {"what": at(k, line), "texts": put(g.texts, k, {line.index: changed}), **other}


@rule("increments for absolute places", 1)
def _(g):
    for k, line in lines_of(g, lambda x: "G90" in x.text):
        texts = put(g.texts, k, {line.index: line.text.replace("G90", "G91")})
        yield {"what": at(k, line), "texts": texts, "codes": SHAPE | RAPID | ARC | {"feed-from-unknown"}}


@rule("another plane for arcs", 1)
def _(g):
    for k, line in lines_of(g, lambda x: "G17" in x.text):
        for plane in ("G18", "G19"):
            texts = put(g.texts, k, {line.index: line.text.replace("G17", plane)})
            if re.search(r"[IJ]-?\d", g.texts[k]):
                yield {"what": at(k, line, plane), "texts": texts, "must": ARC}
            else:
                yield {"what": at(k, line, plane), "texts": texts}


# -- bridges ---------------------------------------------------------------------------------------------------------


def bridges(g):
    """Yield (program, four lines): up to a bridge, up, over, down, all along one straight stretch."""
    for k, text in enumerate(g.texts):
        lines = read(text)
        for four in zip(lines, lines[1:], lines[2:], lines[3:], strict=False):
            a, up, over, down = four
            straight = all(x.motion == 1 for x in four) and up.has("Z") and down.has("Z")
            if straight and up.z > up.before and down.z < down.before and not (up.has("X") or up.has("Y")):
                letter = next((c for c in "XY" if a.has(c) and over.has(c)), None)
                if letter and cutting(over):
                    yield k, four, letter


@rule("move a bridge", 5)
def _(g):
    for k, (a, _up, over, _down), letter in bridges(g):
        for amount in (0.3, -1.0, 2.0):
            changes = {x.index: added(x.text, letter, amount / unit(g, k)) for x in (a, over)}
            yield {"what": at(k, a, f"by {amount}"), "texts": put(g.texts, k, changes)}


@rule("take a bridge away", 2)
def _(g):
    for k, (_a, up, over, down), _letter in bridges(g):
        yield {"what": at(k, over), "texts": put(g.texts, k, {}, drop=[up.index, down.index])}


@rule("take all bridges away", 1)
def _(g):
    for k in range(len(g.texts)):
        gone = [x.index for n, (_, up, _, down), _ in bridges(g) if n == k for x in (up, down)]
        if gone:
            texts = put(g.texts, k, {}, drop=gone)
            yield {
                "what": f"program {k + 1}",
                "texts": texts,
                "must": frozenset({"loose-piece", "loose-chip", "gouge"}),
            }


@rule("a bridge too low or too high", 2)
def _(g):
    for k, (_a, up, _over, _down), _letter in bridges(g):
        for amount in (-0.2, 0.2, -1.0):
            changed = added(up.text, "Z", amount / unit(g, k))
            yield {"what": at(k, up, f"by {amount}"), "texts": put(g.texts, k, {up.index: changed})}


@rule("a bridge too short or too long", 2)
def _(g):
    for k, (_a, _up, over, _down), letter in bridges(g):
        for amount in (-0.4, 0.4, -1.0):
            changed = added(over.text, letter, amount / unit(g, k))
            yield {"what": at(k, over, f"by {amount}"), "texts": put(g.texts, k, {over.index: changed})}


# -- tools -----------------------------------------------------------------------------------------------------------


def _with_tool(g, number, **more):
    table = dict(g.settings["tools"])
    table[number] = dataclasses.replace(table[number], **more)
    return {"texts": g.texts, "more": {"tools": table}}


@rule("another angle", 2)
def _(g):
    for number, tool in g.settings["tools"].items():
        if isinstance(tool, VBit):
            for by in (2, -2):
                yield {"what": f"T{number} by {by} degrees", **_with_tool(g, number, angle=tool.angle + by)}
        if isinstance(tool, Drill):
            yield {"what": f"T{number} point 90", **_with_tool(g, number, point_angle=90.0)}


@rule("another diameter", 2)
def _(g):
    for number, tool in g.settings["tools"].items():
        if isinstance(tool, EndMill | BallNose | Drill):
            for by in (0.2, -0.2):
                if not isinstance(tool, Drill) or by > 0:  # no rule of a design speaks of the wall of a drilled hole
                    yield {"what": f"T{number} by {by}", **_with_tool(g, number, diameter=tool.diameter + by)}


@rule("another tip", 2)
def _(g):
    for number, tool in g.settings["tools"].items():
        if isinstance(tool, VBit):
            for by in (0.2, 0.4):
                yield {"what": f"T{number} by {by}", **_with_tool(g, number, tip=tool.tip + by)}


@rule("two tool numbers swapped", 1)
def _(g):
    table = g.settings["tools"]
    if len(table) > 1:
        swap = {"T1": "T2", "T2": "T1", "H1": "H2", "H2": "H1"}
        texts = tuple(re.sub(r"\b(?:T1|T2|H1|H2)\b", lambda f: swap[f[0]], t) for t in g.texts)
        yield {"what": "T1 and T2", "texts": texts}


@rule("a tool that is not in the list", 1)
def _(g):
    for k, text in enumerate(g.texts):
        other = re.sub(r"\bT(\d+)\b", "T77", text).replace("H1", "H77").replace("H2", "H77")
        texts = (*g.texts[:k], other, *g.texts[k + 1 :])
        yield {"what": f"program {k + 1}", "texts": texts, "must": frozenset({"unknown-tool", "no-tool-named"})}


@rule("no tool length", 1, jobs=("changer",))
def _(g):
    for k, line in lines_of(g, lambda x: x.text.startswith("G43")):
        texts = put(g.texts, k, {}, drop=[line.index])
        yield {"what": at(k, line), "texts": texts, "must": frozenset({"length-not-applied"})}


@rule("another tool's length", 2, jobs=("changer",))
def _(g):
    for k, line in lines_of(g, lambda x: x.text.startswith("G43")):
        other = {"G43 H1": "G43 H2", "G43 H2": "G43 H1"}[line.text]
        texts = put(g.texts, k, {line.index: other})
        yield {"what": at(k, line), "texts": texts, "must": frozenset({"own-length"})}


@rule("cutting edges too short", 1, jobs=("sign", "inside", "islands", "handmade", "inch"))
def _(g):
    for number, tool in g.settings["tools"].items():
        if isinstance(tool, EndMill) and tool.cutting_length and tool.cutting_length > 9:
            made = _with_tool(g, number, cutting_length=2.0)
            yield {"what": f"T{number}", **made, "must": frozenset({"deeper-than-edges"})}


@rule("sticks out too little", 1, jobs=("sign", "islands", "handmade", "inch"))
def _(g):
    for number, tool in g.settings["tools"].items():
        if isinstance(tool, EndMill):
            made = _with_tool(g, number, cutting_length=1.0, stick_out=2.0)
            yield {"what": f"T{number}", **made, "must": frozenset({"deeper-than-stick-out", "deeper-than-edges"})}


# -- spindle and feeds -----------------------------------------------------------------------------------------------


def _dragging(g, k):
    number = re.search(r"T(\d+)", g.texts[k])
    return number and isinstance(g.settings["tools"].get(int(number[1])), TrailingKnife | DiamondPoint)


@rule("start the spindle with a tool that must not spin", 12, jobs=("by hand",))
def _(g):
    for k in range(len(g.texts)):
        if not _dragging(g, k):
            continue
        for start in ("S1000 M3", "S1 M4", "M3 S16000"):
            for line in read(g.texts[k]):
                if line.motion is not None:
                    texts = put(g.texts, k, {}, insert={line.index: start})
                    yield {"what": at(k, line, start), "texts": texts, "must": frozenset({"spindle-on-dragging"})}


@rule("a comment that looks like a start", 2)
def _(g):
    for k in range(len(g.texts)):
        for remark in ("(S16000 M3)", "(M3 S1000 start the spindle)", "(G1 X999 Z-50)"):
            line = next(x for x in read(g.texts[k]) if x.motion == 1 or x.motion == 81)
            texts = put(g.texts, k, {}, insert={line.index: remark})
            yield {"what": at(k, line, remark), "texts": texts, "harmless": True}


@rule("a comment that speaks to the controller", 1)
def _(g):
    for k in range(len(g.texts)):
        for remark in ("(MSG, start the spindle: M3 S1000)", "(msg,hello)"):
            line = next(x for x in read(g.texts[k]) if x.motion == 1 or x.motion == 81)
            texts = put(g.texts, k, {}, insert={line.index: remark})
            yield {"what": at(k, line, remark), "texts": texts, "must": frozenset({"own-comment"})}


@rule("a start that is a comment only", 1)
def _(g):
    for k, line in lines_of(g, lambda x: re.search(r"M3\b", x.text)):
        texts = put(g.texts, k, {line.index: f"({line.text})"})
        yield {"what": at(k, line), "texts": texts, "must": frozenset({"spindle-off"})}


@rule("a start out of a comment in a comment", 1)
def _(g):
    for k in range(len(g.texts)):
        line = next(x for x in read(g.texts[k]) if x.motion == 1 or x.motion == 81)
        texts = put(g.texts, k, {}, insert={line.index: "(a (b) M3 S9000)"})
        yield {"what": at(k, line), "texts": texts, "must": frozenset({"nested-comment", "bad-character"})}


@rule("the spindle backwards", 1)
def _(g):
    for k, line in lines_of(g, lambda x: re.search(r"M3\b", x.text)):
        texts = put(g.texts, k, {line.index: line.text.replace("M3", "M4")})
        yield {"what": at(k, line), "texts": texts, "must": frozenset({"spindle-reversed"})}


@rule("the spindle off in the middle", 2)
def _(g):
    for k, line in lines_of(g, cutting):
        if spins(g, k):
            texts = put(g.texts, k, {}, insert={line.index: "M5"})
            yield {"what": at(k, line), "texts": texts, "must": frozenset({"spindle-off"})}


@rule("speed 0", 1)
def _(g):
    for k, line in lines_of(g, lambda x: re.search(r"M3\b", x.text)):
        texts = put(g.texts, k, {line.index: word(line.text, "S", 0)})
        yield {"what": at(k, line), "texts": texts, "must": frozenset({"spindle-off", "speed-above-machine"})}


@rule("speed above the machine's", 1)
def _(g):
    for k, line in lines_of(g, lambda x: re.search(r"M3\b", x.text)):
        texts = put(g.texts, k, {line.index: word(line.text, "S", 30000)})
        yield {"what": at(k, line), "texts": texts, "must": frozenset({"speed-above-machine"})}


@rule("speed above the tool's", 1)
def _(g):
    for k, line in lines_of(g, lambda x: re.search(r"M3\b", x.text)):
        found = re.search(r"Tool T(\d+)", g.texts[k])
        tool = g.settings["tools"].get(int(found[1])) if found else None
        if tool is not None and tool.max_rpm and g.name != "changer":
            texts = put(g.texts, k, {line.index: word(line.text, "S", tool.max_rpm + 500)})
            yield {"what": at(k, line), "texts": texts, "must": frozenset({"speed-above-tool"})}


@rule("feed above the machine's", 2)
def _(g):
    for k, line in lines_of(g, lambda x: cutting(x) and x.has("F")):
        texts = put(g.texts, k, {line.index: word(line.text, "F", lambda v: v * 12)})
        yield {"what": at(k, line), "texts": texts, "must": frozenset({"feed-above-machine"})}


@rule("plunge too fast", 2)
def _(g):
    steep = lambda x: (  # noqa: E731
        cutting(x) and x.motion == 1 and x.has("ZF") and x.z < x.before - 1e-9 and not (x.has("X") or x.has("Y"))
    )
    for k, line in lines_of(g, steep):
        texts = put(g.texts, k, {line.index: word(line.text, "F", lambda v: v * 3)})
        yield {"what": at(k, line), "texts": texts, "must": frozenset({"plunge-feed"})}


@rule("no feed stated", 1)
def _(g):
    for k, text in enumerate(g.texts):
        changes = {x.index: re.sub(rf" ?F{NUMBER}", "", x.text) for x in read(text) if x.has("F")}
        yield {"what": f"program {k + 1}", "texts": put(g.texts, k, changes), "must": frozenset({"no-feed"})}


# -- rapids ----------------------------------------------------------------------------------------------------------


def _in_stock(g, k, line):
    """Whether the place before a line lies well over the stock, and is no facing cut's."""
    stock = g.settings["stock"]
    x, y = (v * unit(g, k) + zero for v, zero in zip(line.xy, stock.zero_xy, strict=True))
    return 3 < x < stock.width - 3 and 3 < y < stock.height - 3 and "face" not in g.settings["bounds"][line.cut - 1][0]


@rule("a rapid for a feed", 4)
def _(g):
    for k, line in lines_of(
        g, lambda x: cutting(x) and x.motion == 1 and x.text.startswith("G1 ") and x.has("X") and x.part
    ):
        if line.z * unit(g, k) < -1.1 and _in_stock(g, k, line):
            texts = put(g.texts, k, {line.index: "G0" + line.text[2:]})
            yield {"what": at(k, line), "texts": texts, "must": RAPID | {"plunge"}}


@rule("a feed for a rapid", 2)
def _(g):
    for k, line in lines_of(g, lambda x: x.motion == 0 and x.text.startswith("G0") and x.before is not None):
        texts = put(g.texts, k, {line.index: "G1 F500" + line.text[2:]})
        yield {"what": at(k, line), "texts": texts, "codes": SHAPE | RAPID | {"plunge-feed"}}


@rule("clearance lowered", 2)
def _(g):
    for k, text in enumerate(g.texts):
        for height in (2.0, 0.5, -0.5):
            up = [x for x in read(text) if x.motion == 0 and x.has("Z") and x.words["Z"] * unit(g, k) >= 4.9]
            changes = {x.index: word(x.text, "Z", height / unit(g, k)) for x in up}
            if changes:
                what = f"program {k + 1} to {height}"
                yield {"what": what, "texts": put(g.texts, k, changes), "must": RAPID}


@rule("a rapid down into the stock", 2)
def _(g):
    for k, line in lines_of(g, lambda x: x.motion == 0 and x.has("Z") and x.before is not None and 0 < x.z < x.before):
        whole = not any(x.part < line.part and x.cut == line.cut and cutting(x) for x in read(g.texts[k]))
        if whole and _in_stock(g, k, line):
            texts = put(g.texts, k, {line.index: word(line.text, "Z", -2.0 / unit(g, k))})
            yield {"what": at(k, line), "texts": texts, "must": RAPID}


@rule("X, Y and Z in one rapid", 1)
def _(g):
    for k, line in lines_of(g, lambda x: x.motion == 0 and x.has("XY") and x.z is not None):
        texts = put(g.texts, k, {line.index: line.text + f" Z{2 / unit(g, k):.3f}"})
        yield {"what": at(k, line), "texts": texts, "must": RAPID}


@rule("out of the machine's travel", 1)
def _(g):
    for k, line in lines_of(g, lambda x: x.motion == 0 and x.has("XY")):
        texts = put(g.texts, k, {line.index: word(line.text, "X", 900 / unit(g, k))})
        yield {"what": at(k, line), "texts": texts, "must": frozenset({"outside-travel"})}


@rule("another work offset", 2)
def _(g):
    for k, line in lines_of(g, lambda x: "G54" in x.text):
        texts = put(g.texts, k, {line.index: line.text.replace("G54", "G55")})
        yield {"what": at(k, line), "texts": texts, "must": frozenset({"own-zero-moved"})}


@rule("a line left to a switch", 2)
def _(g):
    for k, line in lines_of(g, cutting):
        texts = put(g.texts, k, {line.index: "/" + line.text})
        yield {"what": at(k, line), "texts": texts, "must": frozenset({"own-block-delete"})}


# -- writing ---------------------------------------------------------------------------------------------------------


@rule("the same, written otherwise", 4)
def _(g):
    ways = {
        "line numbers": lambda t: "".join(
            line if line.startswith("(") else f"N{10 * (i % 9000 + 1)} {line}"
            for i, line in enumerate(t.splitlines(True))
        ),
        "small letters": lambda t: "".join(x if x.startswith("(") else x.lower() for x in t.splitlines(True)),
        "no blanks": lambda t: "".join(x if x.startswith("(") else x.replace(" ", "") for x in t.splitlines(True)),
        "empty lines": lambda t: t.replace("\n", "\n\n"),
        "ends of lines": lambda t: t.replace("\n", "\r\n"),
        "leading zeros": lambda t: re.sub(r"\bG([0-4])\b", r"G0\1", t),
        "percent signs": lambda t: "%\n" + t + "%\n",
        "tabs": lambda t: "".join(x if x.startswith("(") else x.replace(" ", "\t") for x in t.splitlines(True)),
    }
    for name, way in ways.items():
        yield {"what": name, "texts": tuple(way(t) for t in g.texts), "harmless": True}


@rule("text that no reader can take", 2)
def _(g):
    broken = {
        "a word twice": (lambda line: line.text + f" X{line.end[0]:g} X{line.end[0]:g}", {"repeated-word"}),
        "unknown G": (lambda line: "G5.5 " + line.text, {"unknown-g", "modal-conflict"}),
        "unknown M": (lambda line: line.text + " M77", {"unknown-m"}),
        "a bare letter": (lambda line: line.text + " X", {"bad-number", "repeated-word"}),
        "open comment": (lambda line: line.text + " (open", {"unclosed-comment"}),
        "a stray letter": (lambda line: line.text + " ?", {"bad-character"}),
        "two motions": (lambda line: "G0 G1 " + line.text.removeprefix("G1 "), {"modal-conflict"}),
    }
    for name, (damage, codes) in broken.items():
        k, line = next((k, x) for k, x in lines_of(g, lambda x: cutting(x) and x.motion == 1))
        texts = put(g.texts, k, {line.index: damage(line)})
        yield {"what": at(k, line, name), "texts": texts, "must": frozenset(codes)}


# -- jobs ------------------------------------------------------------------------------------------------------------


@rule("one program missing", 1)
def _(g):
    for k in range(len(g.texts)):
        if len(g.texts) > 1 and not _dragging(g, k):
            yield {"what": f"program {k + 1}", "texts": (*g.texts[:k], *g.texts[k + 1 :])}


@rule("programs in another order", 1)
def _(g):
    if len(g.texts) > 1:
        yield {"what": "backwards", "texts": g.texts[::-1]}


@rule("a program run twice", 1)
def _(g):
    for k in range(len(g.texts)):
        yield {"what": f"program {k + 1}", "texts": (*g.texts[: k + 1], *g.texts[k:]), "harmless": True}


@rule("another thickness", 3)
def _(g):
    stock = g.settings["stock"]
    lo, hi = stock.thickness_range
    if any(getattr(r, "through", False) for _, _, b in g.settings["bounds"] for r in b.rules):
        for by, code in ((1.0, "not-through"), (-1.0, "below-table")):
            other = dataclasses.replace(stock, thickness=stock.thickness + by, thickness_range=(lo + by, hi + by))
            yield {"what": f"by {by}", "texts": g.texts, "more": {"stock": other}, "must": frozenset({code})}


@rule("the same job in another dialect", 2, jobs=("sign",))
def _(g):
    for other in ("inch", "no arcs", "changer"):
        yield {"what": other, "texts": good(other).texts, "harmless": True}


@rule("another job's programs", 2)
def _(g):
    for other in ("islands", "floored", "inside"):
        if other != g.name:
            yield {"what": other, "texts": good(other).texts, "codes": SHAPE | {"unknown-tool"}}


def _of(job):
    made = mutant_jobs.of_job(job)
    return {"texts": made.texts, "more": made.settings}


@rule("mirrored twice or never", 2, jobs=("back",))
def _(g):
    for times in (0, 2):
        yield {"what": f"{times} times", **_of(mutant_jobs.back(mirrored=times)), "must": frozenset({"mirrored-wrong"})}


def _plain(art, artwork, **more):
    """A board with a groove, held against an original."""
    board = pg.Stock(80, 50, 9, material="hardwood", thickness_range=(8.8, 9.2))
    return pg.Job(
        "art", board, pg.Machine(**mutant_jobs.SPEEDS), [pg.vgroove(art, BIT, stock=board)], artwork=artwork, **more
    )


@rule("not the artwork", 11, jobs=("sign",))
def _(g):
    """Each is cut well, from a drawing that is not the original: only the picture can tell."""
    area = box(10, 10, 70, 40)
    art = pg.place(pg.text("Fern", height=14), area, margin=2).region
    ring = Point(40, 25).buffer(20).difference(Point(40, 25).buffer(17))
    middle = (40, 25)
    alike = frozenset({"art-differs", "art-size", "art-area", "art-inch"})
    inch = scale(art, 1 / 25.4, 1 / 25.4, origin=middle)
    yield {"what": "inch as mm", **_of(_plain(inch, art)), "must_say": alike}
    yield {"what": "another layer", **_of(_plain(ring, art)), "must_say": alike}
    yield {"what": "layers swapped", **_of(_plain(art, ring)), "must_say": alike}
    mirrored = scale(art, -1, 1, origin=middle)
    yield {"what": "mirrored", **_of(_plain(mirrored, art)), "must": frozenset({"mirrored-wrong"})}
    upside = scale(art, 1, -1, origin=middle)
    yield {"what": "upside down", **_of(_plain(upside, art)), "must_say": alike | {"mirrored-wrong"}}
    larger = scale(art, 1.05, 1.05, origin=middle)
    yield {"what": "5 % larger", **_of(_plain(larger, art)), "must_say": alike}
    short = MultiPolygon(sorted(art.geoms, key=lambda p: p.bounds[0])[:-1])
    yield {"what": "the last letter missing", **_of(_plain(short, art)), "must_say": alike}
    yield {"what": "as it is", **_of(_plain(art, art)), "harmless": True}
