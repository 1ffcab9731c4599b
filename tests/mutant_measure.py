"""How far a damaged program changes the part, by a reader and a measure that share nothing with the library's own.

Terminology
-----------
void
    What the programs cut away and the air round the stock: the union of the tool's body along every stroke.
change
    The largest distance by which a point of one void lies outside the other, in any direction, mm: what is gone that
    should stand (gouge), or stands that should be gone (residual).

Every tool's body, opened upward without end, is convex, so the signed distance of a point from it is a convex function
of the tip's place, and along a straight stroke it has one minimum: golden section finds it. No height field and no
section is made. What is found is a change that is there (a lower bound); the points looked at are on the bodies
themselves along every stroke that differs, or along a seeded sample of those.
"""

import itertools
import math
import re

import numpy as np
import shapely
from shapely.strtree import STRtree

from pathgen.model.bounds import Bridge, Free, Kerf

WORD = re.compile(r"([A-Z])([-+]?(?:\d+\.?\d*|\.\d+))")
COMMENT = re.compile(r"\(([^()]*)\)")
TOOL = re.compile(r"\s*Tool T(\d+)")
SAGITTA = 0.002
"""Largest distance of a chord from its arc, mm: far less than what is looked for."""

RADII = {1.0: 0.002, 25.4: 0.0002 * 25.4}
"""Largest difference of an arc's radii, mm, by unit: 0.002 mm, 0.0002 inch (NISTIR 6556 section 3.5.3)."""

MOST = 96
"""Strokes looked at of those that differ; a seeded sample beyond that, the long ones first of all."""

AT_ONCE = 8
"""Strokes looked at before it is asked whether more need be."""


class UnreadableError(Exception):
    """The program asks for what no machine can do, so it has no part to measure."""


# -- reading ---------------------------------------------------------------------------------------------------------


def strokes(texts, stock, tools):
    """Read programs as straight strokes in stock coordinates.

    Returns:
        (n, 8): start, end, T number, program; mm. Moves from unknown places are left out.
    """
    rows = []
    for k, text in enumerate(texts):
        rows += [(*row, k) for row in _Reader(text, tools).rows]
    if not rows:
        return np.empty((0, 8))
    out = np.array(rows, dtype=float)
    shift = np.array([*stock.zero_xy, stock.zero_z])
    out[:, :3] += shift
    out[:, 3:6] += shift
    return out[np.isfinite(out).all(axis=1)]


class _Reader:
    """One line at a time; the words of our own programs and of those written by hand here."""

    def __init__(self, text, tools):
        self.rows = []
        self.at = [math.nan, math.nan, math.nan]
        self.motion = self.plane = 0
        self.unit, self.absolute = 1.0, True
        self.tool = next(iter(tools)) if len(tools) == 1 else 0
        self.chosen = 0
        self.automatic = "M6" in text
        self.cycle = {}
        self.back_to_start = True
        for line in text.splitlines():
            for remark in COMMENT.findall(line):
                if (found := TOOL.match(remark)) and not self.automatic:
                    self.tool = int(found[1])
            words = WORD.findall(COMMENT.sub("", line).replace(" ", "").upper())
            if self.block(words):
                return
        raise UnreadableError("no end")

    def block(self, words):
        """Carry out one line; True at the program's end."""
        g = [float(v) for a, v in words if a == "G"]
        m = [float(v) for a, v in words if a == "M"]
        at = {a: float(v) for a, v in words if a not in "GM"}
        if "T" in at:
            self.chosen = int(at["T"])
            if not self.automatic:
                self.tool = self.chosen
        if 6 in m:
            self.tool = self.chosen
        for code in g:
            if code in (17, 18, 19):
                self.plane = int(code) - 17
            elif code in (20, 21):
                self.unit = 25.4 if code == 20 else 1.0
            elif code in (90, 91):
                self.absolute = code == 90
            elif code in (98, 99):
                self.back_to_start = code == 98
            elif code in (0, 1, 2, 3, 80, 81, 82, 83):
                self.motion = int(code)
                self.cycle = {}
        axes = [at.get(a) for a in "XYZ"]
        if 4 not in g and any(v is not None for v in axes):
            self.move(axes, at, machine=53 in g)
        return 2 in m or 30 in m

    def target(self, axes):
        out = list(self.at)
        for k, v in enumerate(axes):
            if v is not None:
                out[k] = v * self.unit + (0.0 if self.absolute else self.at[k])
        return out

    def move(self, axes, at, *, machine):
        if machine:
            self.at = [math.nan if v is not None else old for v, old in zip(axes, self.at, strict=True)]
            return
        if self.motion == 80:
            raise UnreadableError("axis words with no motion")
        if self.motion in (2, 3):
            self.arc(self.target(axes), at)
        elif self.motion > 80:
            self.drill(axes, at)
        else:
            self.to(self.target(axes))

    def to(self, end):
        self.rows.append((*self.at, *end, self.tool))
        self.at = list(end)

    def drill(self, axes, at):
        """Down and up again; what G83 does between changes nothing of the hole."""
        self.cycle.update({k: v for k, v in at.items() if k in "ZR"})
        if "Z" not in self.cycle or "R" not in self.cycle or not self.absolute:
            raise UnreadableError("a cycle without its depth, or in increments")
        top, z = self.cycle["R"] * self.unit, self.cycle["Z"] * self.unit
        before = self.at[2]
        if before < top:
            self.to([self.at[0], self.at[1], top])
        x, y, _ = self.target([axes[0], axes[1], None])
        self.to([x, y, self.at[2]])
        self.to([x, y, top])
        self.to([x, y, z])
        self.to([x, y, max(before, top) if self.back_to_start else top])

    def arc(self, end, at):
        u, v, w = ((0, 1, 2), (2, 0, 1), (1, 2, 0))[self.plane]
        names = "IJK"
        if "R" in at or names[w] in at or not {names[u], names[v]} & set(at):
            raise UnreadableError("an arc without its center")
        if not {"XYZ"[u], "XYZ"[v]} & set(at):
            raise UnreadableError("an arc without its end")
        center = [self.at[u] + at.get(names[u], 0.0) * self.unit, self.at[v] + at.get(names[v], 0.0) * self.unit]
        start = complex(self.at[u] - center[0], self.at[v] - center[1])
        stop = complex(end[u] - center[0], end[v] - center[1])
        if not (math.isfinite(abs(start)) and math.isfinite(abs(stop))):
            raise UnreadableError("an arc from nowhere")
        if abs(start) < 1e-9 or abs(abs(start) - abs(stop)) > RADII[self.unit]:
            raise UnreadableError("an arc that does not meet its end")
        turn = math.atan2((stop / start).imag, (stop / start).real)
        if self.motion == 3 and turn <= 1e-9:
            turn += 2 * math.pi
        if self.motion == 2 and turn >= -1e-9:
            turn -= 2 * math.pi
        n = max(1, math.ceil(abs(turn) / (2 * math.acos(max(1 - SAGITTA / abs(start), -1)))))
        first = list(self.at)
        for k in range(1, n + 1):
            p = list(end)
            if k < n:
                spoke = start * complex(math.cos(turn * k / n), math.sin(turn * k / n))
                p[u], p[v] = center[0] + spoke.real, center[1] + spoke.imag
                p[w] = first[w] + (end[w] - first[w]) * k / n
            self.to(p)


# -- tools as bodies -------------------------------------------------------------------------------------------------


def outline(tool):
    """Return (kind, radius, flat, slope): the half section of a tool, slope = height for 1 mm of radius.

    None for a tool that is dragged: it takes nothing away, and no design says where its line must run.
    """
    kind = type(tool).__name__
    if kind == "EndMill":
        return ("flat", 0.5 * tool.diameter, 0.0, 0.0)
    if kind == "BallNose":
        return ("ball", 0.5 * tool.diameter, 0.0, 0.0)
    if kind == "VBit":
        return ("cone", 0.5 * tool.diameter, 0.5 * tool.tip, 1.0 / math.tan(math.radians(0.5 * tool.angle)))
    if kind == "Drill":
        return ("cone", 0.5 * tool.diameter, 0.0, 1.0 / math.tan(math.radians(0.5 * tool.point_angle)))
    return None


def from_body(kind, radius, flat, slope, r, h):
    """Signed distance (negative inside) of points at radius r, height h over the tip, from a tool's body.

    Inside a cone it is the greatest of the distances from its three faces, which is exact for a convex body.
    """
    if kind == "ball":
        low = np.hypot(r, h - radius) - radius
        return np.where(h < radius, low, r - radius)
    if kind == "flat":
        side, below = r - radius, -h
        return np.where((side > 0) & (below > 0), np.hypot(side, below), np.maximum(side, below))
    n = math.hypot(1.0, slope)
    corner = (radius - flat) * slope  # height at which the cone meets the cylinder
    face = (slope * (r - flat) - h) / n
    inner = np.maximum(np.maximum(face, -h), r - radius)
    # outside: nearest of the tip's flat, the cone's flank and the cylinder
    along = ((r - flat) + slope * h) / n  # place along the flank from the flat's rim
    length = math.hypot(radius - flat, corner)
    at = np.clip(along, 0.0, length)
    flank = np.hypot(r - flat - at / n, h - slope * at / n)
    bottom = np.where(r <= flat, np.abs(h), np.inf)
    side = np.where(h >= corner, np.abs(r - radius), np.inf)
    return np.where(inner <= 0, inner, np.minimum(np.minimum(flank, bottom), side))


def _along(x, rows, t, shape):
    """Distance of points x from the body with its tip at share t of strokes `rows`."""
    tip = rows[:, :3] + t[:, None] * (rows[:, 3:6] - rows[:, :3])
    return from_body(*shape, np.hypot(x[:, 0] - tip[:, 0], x[:, 1] - tip[:, 1]), x[:, 2] - tip[:, 2])


GOLDEN = 0.5 * (math.sqrt(5) - 1)


def outside(points, rows, shapes, enough):
    """Return how far each point is outside the void of `rows`, mm, at most four times `enough`.

    Args:
        points: (n, 3).
        rows: (m, 8), one tool each.
        shapes: T number to `outline`.
        enough: a point is done with once it is known to be no further out than this.
    """
    best = np.full(len(points), 4 * enough)
    for number in np.unique(rows[:, 6]) if len(rows) else ():
        shape = shapes.get(int(number))
        if shape is None:
            continue
        own = rows[rows[:, 6] == number]
        lines = shapely.linestrings(own[:, :6].reshape(-1, 2, 3)[:, :, :2])
        tree = STRtree(lines)
        open_ = np.flatnonzero(best > enough)
        xy = shapely.points(points[open_, :2])
        i, j = tree.query(xy, predicate="dwithin", distance=shape[1] + 4 * enough)
        i = open_[i]
        reachable = np.minimum(own[j, 2], own[j, 5]) <= points[i, 2] + 4 * enough
        i, j = i[reachable], j[reachable]
        d = own[j, 3:5] - own[j, 0:2]
        foot = np.einsum("ij,ij->i", points[i, :2] - own[j, :2], d) / np.maximum(np.einsum("ij,ij->i", d, d), 1e-18)
        for t in (np.clip(foot, 0, 1), np.zeros(len(i)), np.ones(len(i))):
            np.minimum.at(best, i, _along(points[i], own[j], t, shape))
        still = best[i] > enough
        i, j = i[still], j[still]
        if not len(i):
            continue
        low, high = np.zeros(len(i)), np.ones(len(i))
        for _ in range(26):
            span = GOLDEN * (high - low)
            a, b = high - span, low + span
            left = _along(points[i], own[j], a, shape) <= _along(points[i], own[j], b, shape)
            high, low = np.where(left, b, high), np.where(left, low, a)
        np.minimum.at(best, i, _along(points[i], own[j], 0.5 * (low + high), shape))
    return best


# -- the change ------------------------------------------------------------------------------------------------------


def body_points(rows, shapes, *, depth, angles=4):
    """Return points on and in the tools' bodies along strokes: bottoms, rims, and flanks up to the face, (n, 3)."""
    out = []
    turn = np.arange(angles) * (2 * math.pi / angles)
    for number in np.unique(rows[:, 6]):
        shape = shapes.get(int(number))
        if shape is None:
            continue
        own = rows[rows[:, 6] == number]
        heading = np.arctan2(own[:, 4] - own[:, 1], own[:, 3] - own[:, 0])
        ring = np.stack([np.cos(heading[:, None] + turn), np.sin(heading[:, None] + turn)], axis=-1)
        for t in (0.02, 0.5, 0.98):
            tip = own[:, :3] + t * (own[:, 3:6] - own[:, :3])
            out.append(tip)
            top = np.clip(-tip[:, 2], 0.0, depth)
            for share in (0.0, 0.25, 0.6):
                r = _radius(shape, share * top)
                p = np.empty((len(own), angles, 3))
                p[..., :2] = tip[:, None, :2] + r[:, None, None] * ring
                p[..., 2] = (tip[:, 2] + share * top)[:, None]
                out.append(p.reshape(-1, 3))
    return np.concatenate(out) if out else np.empty((0, 3))


def _radius(shape, h):
    kind, radius, flat, slope = shape
    if kind == "flat":
        return np.full_like(h, radius)
    if kind == "ball":
        low = np.minimum(h, radius)
        return np.sqrt(low * (2 * radius - low))
    return np.minimum(flat + h / slope, radius)


def _keys(rows, shapes):
    return [(*np.round(r[:6], 6), shapes.get(int(r[6]))) for r in rows]


def _within(points, stock):
    """How deep points lie in the stock, mm, from its face and its sides; the underside is no air."""
    x, y, z = points.T
    deep = np.minimum(np.minimum(np.minimum(x, stock.width - x), np.minimum(y, stock.height - y)), -z)
    return np.where(z >= -stock.thickness - 1e-9, deep, -1.0)


def change(good, texts, *, tools=None, enough=0.05, whole=False):
    """Return how far other texts, or tools, change the part of a good job, mm: (gouge, residual), as far as looked at.

    Numbers up to `enough` may stand for less, and four times `enough` for more.

    Args:
        good: the good job.
        texts: the other programs.
        tools: other tools, T number to tool.
        enough: mm.
        whole: go on to the greatest change, though one beyond `enough` is found.

    Raises:
        UnreadableError: for programs without a part.
    """
    stock, told = good.settings["stock"], good.settings["tools"]
    tools = told if tools is None else tools
    one, other = strokes(good.texts, stock, told), strokes(texts, stock, tools)
    shapes_one, shapes_other = ({n: outline(t) for n, t in table.items()} for table in (told, tools))
    keys_one, keys_other = _keys(one, shapes_one), _keys(other, shapes_other)
    only_one, only_other = set(keys_one) - set(keys_other), set(keys_other) - set(keys_one)
    gone = np.array([k in only_one for k in keys_one], dtype=bool)
    new = np.array([k in only_other for k in keys_other], dtype=bool)
    found = [0.0, 0.0]
    looks = (
        _beyond(other[new], shapes_other, one, shapes_one, good, enough, residual=False),
        _beyond(one[gone], shapes_one, other, shapes_other, good, enough, residual=True),
    )
    for pair in itertools.zip_longest(*looks, fillvalue=0.0):
        found = [max(a, b) for a, b in zip(found, pair, strict=True)]
        if max(found) > enough and not whole:
            break
    return found[0], found[1]


def _beyond(changed, shapes, rows, other_shapes, good, enough, *, residual):
    """Yield how far the void of strokes `changed` reaches beyond that of `rows`, where the part is; a few at a time."""
    stock = good.settings["stock"]
    changed = changed[np.minimum(changed[:, 2], changed[:, 5]) < -1e-6] if len(changed) else changed
    if len(changed):
        long = np.linalg.norm(changed[:, 3:6] - changed[:, :3], axis=1) + 1e-6
        rng = np.random.default_rng(len(changed))
        changed = changed[rng.choice(len(changed), min(MOST, len(changed)), replace=False, p=long / long.sum())]
    for first in range(0, len(changed), AT_ONCE):
        points = body_points(changed[first : first + AT_ONCE], shapes, depth=stock.thickness)
        air = _within(points, stock)
        points, air = points[air > enough], air[air > enough]
        matters = ~_waste(points, good, residual=residual)
        points, air = points[matters], air[matters]
        if len(points):
            yield float(np.minimum(outside(points, rows, other_shapes, enough), air).max())


def _waste(points, good, *, residual):
    """Whether points lie where it does not matter: room left free for leads, and the far side of a parting slot."""
    out = np.zeros(len(points), dtype=bool)
    for _, _, bounds in good.settings["bounds"]:
        lifted = [b.line for b in bounds.rules if isinstance(b, Bridge)]
        for rule in bounds.rules:
            if isinstance(rule, Free):
                out |= shapely.contains_xy(rule.region, points[:, :2]) & (points[:, 2] > -rule.depth - 1e-6)
            elif isinstance(rule, Kerf) and rule.through and residual:
                at = shapely.points(points[:, :2])
                away = shapely.distance(rule.shape.boundary, at) if rule.side != "along" else np.zeros(len(points))
                inside = shapely.contains_xy(rule.shape, points[:, :2])
                beyond = (away > 0.3 * rule.width) & (inside == (rule.side == "inside"))
                near = shapely.distance(shapely.union_all(lifted), at) < rule.width if lifted else False
                out |= beyond & ~near
    return out
