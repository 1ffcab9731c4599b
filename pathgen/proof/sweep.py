"""Cutting a stock in simulation: the exact lower surface of a tool along straight strokes, kept as a height field.

Terminology
-----------
profile
    A tool's cutting outline: flat, cone with a flat tip, or ball.
lower surface
    At a point seen from above, the lowest place the tool's outline comes to while its tip runs along a stroke.

The lower surface is a minimum over the stroke of a function that is convex along it, so its place has a closed form,
cut off at the stroke's ends and at the tool's radius (derivation in `lower_surface`). No dots are stamped.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from pathgen.errors import ArgumentError
from pathgen.model.arrays import FloatArray, IntArray
from pathgen.model.tool import BallNose, Drill, EndMill, Tool, VBit
from pathgen.proof.grid import Grid, expanded
from pathgen.proof.strokes import Strokes

Field = NDArray[np.float32]
"""Heights, mm. Single precision: 1e-6 mm at a depth of 18 mm, half the memory of a large sheet."""

LEVEL = 1e-9
"""Strokes that rise less than this are level, mm. Noise only."""

BEYOND = 1e4
"""Further along a stroke than any stroke is long, mm: where a steep move is lowest, cut off at its end."""

STEEP = 8.0
"""Slopes above this are worked out in double precision. Larger: errors of 1e-5 mm show; smaller: time."""

BATCH = 200_000
"""Samples worked on at a time: larger leaves the processor's cache, smaller pays for more calls."""

BAND = 4_000_000
"""Samples in one band of rows when level strokes are filled in: bounds the memory of large sheets."""


@dataclass(frozen=True, kw_only=True)
class Profile:
    """A cutting outline.

    Attributes:
        kind: "flat", "cone" or "ball".
        radius: mm; nothing is cut beyond it.
        flat: radius of a cone's flat tip, mm.
        rise: height of a cone's outline for 1 mm of radius.
    """

    kind: Literal["flat", "cone", "ball"]
    radius: float
    flat: float = 0.0
    rise: float = 0.0

    def height(self, radius: Any) -> Any:
        """Height of the outline above the tip, mm, at radii inside the tool."""
        if self.kind == "flat":
            return np.zeros_like(radius)
        if self.kind == "cone":
            return np.maximum(radius - self.flat, 0.0) * self.rise
        return self.radius - np.sqrt(np.maximum(self.radius * self.radius - radius * radius, 0.0))

    def reach(self, depth: Any) -> Any:
        """Radius of the tool, mm, at a height `depth` >= 0 above its tip."""
        if self.kind == "flat":
            return np.full_like(depth, self.radius)
        if self.kind == "cone":
            return np.minimum(depth / self.rise + self.flat, self.radius)
        low = np.minimum(depth, self.radius)
        return np.sqrt(low * (2.0 * self.radius - low))


def profile_of(tool: Tool) -> Profile | None:
    """Return a tool's outline, None for one that does not cut a groove (it must not spin).

    Raises:
        ArgumentError: for a kind of tool whose outline is not known.
    """
    radius = 0.5 * tool.diameter
    if isinstance(tool, EndMill):
        return Profile(kind="flat", radius=radius)
    if isinstance(tool, BallNose):
        return Profile(kind="ball", radius=radius)
    if isinstance(tool, VBit):
        return Profile(kind="cone", radius=radius, flat=0.5 * tool.tip, rise=1.0 / tool.slope)
    if isinstance(tool, Drill):
        half = math.radians(0.5 * tool.point_angle)
        if tool.point_angle == 180:
            return Profile(kind="flat", radius=radius)
        return Profile(kind="cone", radius=radius, rise=1.0 / math.tan(half))
    if not tool.spins:
        return None
    raise ArgumentError(f"{tool.describe()}: the proof knows no outline of a {type(tool).__name__}")


def lower_surface(profile: Profile, x: Any, y: Any, way: Any) -> Any:
    """Return the exact lower surface of strokes at points (x, y), mm; inf where the tool does not come.

    Args:
        profile: the tool's outline.
        x: x of the points relative to the start of the stroke, mm; an array that broadcasts with `way`.
        y: the same in y.
        way: (ux, uy, length, z, slope) as `directions` gives them: direction and length seen from above, z of the
            start, rise of the tip for 1 mm of travel; a plunge has length 0 and the z of its lower end.

    With s = place along the stroke, q = distance beside it, m = slope: minimise z + m (s + v) + h(sqrt(q^2 + v^2))
    over v. h is convex, so the sum is, and the minimum is where its derivative is 0, cut off at the stroke's ends
    and at the tool's radius: cone v = -m q / sqrt(k^2 - m^2) (k = rise; unbounded where |m| >= k), at least the rim of
    its flat; ball v = -m w / sqrt(1 + m^2), w = sqrt(R^2 - q^2); flat v unbounded (own derivation).
    """
    ux, uy, length, z, m = way
    s = x * ux + y * uy
    q = x * uy - y * ux
    q2 = q * q
    w2 = profile.radius * profile.radius - q2
    w = np.sqrt(np.maximum(w2, 0.0))
    low, high = np.maximum(-w, -s), np.minimum(w, length - s)
    v = _best(profile, m, q2, w)
    v = np.minimum(np.maximum(v, low), high)
    height = z + m * (s + v)
    if profile.kind != "flat":
        height = height + profile.height(np.sqrt(q2 + v * v))
    return np.where((w2 >= 0.0) & (low <= high), height, np.inf)


def _best(profile: Profile, m: Any, q2: Any, w: Any) -> Any:
    """Return where along the stroke, from the foot of a point, the tool is lowest over it (before cutting off)."""
    if profile.kind == "ball":
        return -m / np.sqrt(1.0 + m * m) * w
    if profile.kind == "flat":
        return -np.sign(m) * w
    k = profile.rise
    steep = np.abs(m) >= k
    pull = np.abs(m) / np.sqrt(np.where(steep, 1.0, k * k - m * m))
    off = np.maximum(pull * np.sqrt(q2), np.sqrt(np.maximum(profile.flat * profile.flat - q2, 0.0)))
    return -np.sign(m) * np.where(steep, w, off)


def _cone_surface(profile: Profile, x: Any, y: Any, way: Any) -> Any:
    """Return `lower_surface` of a cone whose rim stays above the face: cut off at the stroke's ends alone.

    What lies above the face does not count, so the radius need not be looked at; the same formula in fewer steps.
    """
    ux, uy, length, z, m = way
    k = profile.rise
    steep = np.abs(m) >= k
    pull = np.sign(m) * np.abs(m) / np.sqrt(np.where(steep, 1.0, k * k - m * m))
    s = x * ux + y * uy
    q = x * uy - y * ux
    if profile.flat > 0.0:
        rim = np.sqrt(np.maximum(profile.flat * profile.flat - q * q, 0.0))
        t = s - np.sign(m) * np.maximum(np.abs(pull) * np.abs(q), rim)
    else:
        t = np.abs(q)
        t *= -pull
        t += s
    t -= np.where(steep, np.sign(m) * BEYOND, 0.0).astype(t.dtype)
    np.clip(t, 0.0, length, out=t)
    s -= t
    s *= s
    q *= q
    s += q
    np.sqrt(s, out=s)
    if profile.flat > 0.0:
        s -= profile.flat
        np.maximum(s, 0.0, out=s)
    s *= k
    t *= m
    s += t
    s += z
    return s


def sweep(strokes: Strokes, tools: Mapping[int, Tool], grid: Grid, *, into: Field | None = None) -> Field:
    """Return the height field (rows, columns), mm, that `strokes` leave of a slab whose face is at 0.

    Rapids cut too: where they meet material the checks say so. The order of strokes does not matter.

    Args:
        strokes: in stock coordinates.
        tools: T number to tool; strokes of unknown or dragging tools cut nothing.
        grid: where heights are wanted.
        into: a field to cut further, in place.
    """
    field = np.zeros((grid.rows, grid.columns), dtype=np.float32) if into is None else into
    deep = strokes.lowest < 0.0
    for number in np.unique(strokes.tool[deep]) if deep.any() else []:
        profile = profile_of(tools[int(number)]) if int(number) in tools else None
        if profile is None:
            continue
        own = strokes[deep & (strokes.tool == number)]
        a, b = _below_face(own.a, own.b)
        level = (np.abs(a[:, 2] - b[:, 2]) <= LEVEL) & (profile.kind == "flat")
        for z in np.unique(a[level, 2]):
            chosen = level & (a[:, 2] == z)
            _fill_level(field, grid, a[chosen, :2], b[chosen, :2], profile.radius, float(z))
        if not level.all():
            _fill_windows(field, grid, a[~level], b[~level], profile)
    return field


def _below_face(a: FloatArray, b: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the parts of the strokes that lie below the face, where the tip is at z <= 0."""
    a, b = a.copy(), b.copy()
    for one, other in ((a, b), (b, a)):
        above = one[:, 2] > 0.0
        share = one[above, 2] / (one[above, 2] - other[above, 2])
        one[above] += share[:, None] * (other[above] - one[above])
        one[above, 2] = 0.0
    return a, b


def _fill_level(field: Field, grid: Grid, a: FloatArray, b: FloatArray, radius: float, z: float) -> None:
    """Lower the samples under flat strokes at one height: each stadium meets each row of samples in one interval."""
    first, end = grid.span(np.minimum(a[:, 1], b[:, 1]) - radius, np.maximum(a[:, 1], b[:, 1]) + radius, axis=1)
    owner, row = expanded(first, end)
    if not len(owner):
        return
    y = grid.y[row]
    left, right = _stadium_rows(a[owner], b[owner], y, radius)
    c0, c1 = grid.span(left, right, axis=0)
    some = c1 > c0
    row, c0, c1 = row[some], c0[some], c1[some]
    if not len(row):
        return
    low, high, west, east = int(row.min()), int(row.max()) + 1, int(c0.min()), int(c1.max())
    width = east - west
    if 3 * int((c1 - c0).sum()) < (high - low) * width:
        owner, column = expanded(c0, c1)
        flat = row[owner] * field.shape[1] + column
        values = field.reshape(-1)
        values[flat] = np.minimum(values[flat], np.float32(z))
        return
    band = max(1, BAND // (width + 1))
    for top in range(low, high, band):
        n = min(band, high - top)
        own = (row >= top) & (row < top + n)
        base = (row[own] - top) * (width + 1) - west
        cells = n * (width + 1)
        count = np.bincount(base + c0[own], minlength=cells) - np.bincount(base + c1[own], minlength=cells)
        covered = np.cumsum(count).reshape(n, width + 1)[:, :-1] > 0
        view = field[top : top + n, west:east]
        np.minimum(view, np.float32(z), out=view, where=covered)


def _stadium_rows(a: FloatArray, b: FloatArray, y: FloatArray, radius: float) -> tuple[FloatArray, FloatArray]:
    """Return left and right ends of the interval in which row `y` meets the disc swept from `a` to `b`.

    The ends lie on one of the two discs or on one of the two long edges (elementary geometry).
    """
    left, right = np.full(len(y), np.inf), np.full(len(y), -np.inf)
    for c in (a, b):
        half2 = radius * radius - (y - c[:, 1]) ** 2
        half = np.sqrt(np.maximum(half2, 0.0))
        hit = half2 >= 0
        left = np.where(hit, np.minimum(left, c[:, 0] - half), left)
        right = np.where(hit, np.maximum(right, c[:, 0] + half), right)
    d = b - a
    length = np.hypot(d[:, 0], d[:, 1])
    safe = np.where(length > 0, length, 1.0)
    nx, ny = -d[:, 1] / safe * radius, d[:, 0] / safe * radius
    level = np.abs(d[:, 1]) < 1e-9  # too level for its long edges to matter between two rows
    rise = np.where(level, 1.0, d[:, 1])
    for side in (1.0, -1.0):
        t = (y - (a[:, 1] + side * ny)) / rise
        x = a[:, 0] + side * nx + t * d[:, 0]
        hit = (t >= 0) & (t <= 1) & ~level
        left = np.where(hit, np.minimum(left, x), left)
        right = np.where(hit, np.maximum(right, x), right)
    return left, right


def _fill_windows(field: Field, grid: Grid, a: FloatArray, b: FloatArray, profile: Profile) -> None:
    """Lower the samples under strokes by the closed form, in windows where the tool is below the face."""
    a, b = _split(a, b, profile, grid.pixel)
    # where the tool is below the face: its radius at the height of the face above the lower end
    reach = profile.reach(np.maximum(-np.minimum(a[:, 2], b[:, 2]), 0.0))[:, None]
    low, high = np.minimum(a[:, :2], b[:, :2]) - reach, np.maximum(a[:, :2], b[:, :2]) + reach
    c0, c1 = grid.span(low[:, 0], high[:, 0], axis=0)
    r0, r1 = grid.span(low[:, 1], high[:, 1], axis=1)
    some = np.flatnonzero((c1 > c0) & (r1 > r0))
    if not len(some):
        return
    # windows of like size are worked on together; sizes are rounded up so that there are few of them
    rows, columns = _rounded((r1 - r0)[some]), _rounded((c1 - c0)[some])
    key = rows * 100_000 + columns
    order = some[np.argsort(key, kind="stable")]
    sizes, first = np.unique(np.sort(key), return_index=True)
    for size, begin, end in zip(sizes, first, [*first[1:], len(order)], strict=True):
        ny, nx = int(size) // 100_000, int(size) % 100_000
        step = max(1, BATCH // (ny * nx))
        for k in range(begin, end, step):
            chosen = order[k : min(k + step, end)]
            _window_batch(field, grid, a[chosen], b[chosen], profile, r0[chosen], c0[chosen], ny, nx)


def _rounded(n: IntArray) -> IntArray:
    """Return window sizes rounded up to 4 steps in each power of 2."""
    power = 2.0 ** np.floor(np.log2(np.maximum(n, 4)) - 2)
    out: IntArray = (np.ceil(n / power) * power).astype(np.int64)
    return out


def _split(a: FloatArray, b: FloatArray, profile: Profile, pixel: float) -> tuple[FloatArray, FloatArray]:
    """Return strokes cut into pieces of about three radii, since long slanting ones have windows full of nothing."""
    reach = profile.reach(np.maximum(-np.minimum(a[:, 2], b[:, 2]), 0.0))
    length = np.hypot(b[:, 0] - a[:, 0], b[:, 1] - a[:, 1])
    pieces = np.maximum(np.ceil(length / np.maximum(3.0 * reach, 8.0 * pixel)), 1).astype(np.int64)
    owner, k = expanded(np.zeros_like(pieces), pieces)
    step = (b - a)[owner] / pieces[owner, None]
    return a[owner] + k[:, None] * step, np.where(
        (k + 1 == pieces[owner])[:, None], b[owner], a[owner] + (k[:, None] + 1) * step
    )


def directions(a: FloatArray, b: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return (ux, uy, length, z, slope) of strokes as `lower_surface` takes them."""
    dx, dy, dz = (b - a).T
    length = np.hypot(dx, dy)
    plunge = length < LEVEL
    safe = np.where(plunge, 1.0, length)
    ux, uy = np.where(plunge, 1.0, dx / safe), np.where(plunge, 0.0, dy / safe)
    z = np.where(plunge, np.minimum(a[:, 2], b[:, 2]), a[:, 2])
    return ux, uy, np.where(plunge, 0.0, length), z, np.where(plunge, 0.0, dz / safe)


def _window_batch(
    field: Field,
    grid: Grid,
    a: FloatArray,
    b: FloatArray,
    profile: Profile,
    r0: IntArray,
    c0: IntArray,
    ny: int,
    nx: int,
) -> None:
    r0, c0 = np.maximum(np.minimum(r0, grid.rows - ny), 0), np.maximum(np.minimum(c0, grid.columns - nx), 0)
    ny, nx = min(ny, grid.rows), min(nx, grid.columns)
    x = (grid.x0 + (c0[:, None] + np.arange(nx)) * grid.pixel - a[:, :1])[:, None, :]
    y = (grid.y0 + (r0[:, None] + np.arange(ny)) * grid.pixel - a[:, 1:2])[:, :, None]
    ways = directions(a, b)
    # single precision is 1e-6 mm in a window of 15 mm, times the slope
    exact = np.float64 if np.abs(ways[4]).max() > STEEP else np.float32
    way = tuple(v[:, None, None].astype(exact) for v in ways)
    rim = profile.reach(np.maximum(-np.minimum(a[:, 2], b[:, 2]), 0.0)).max() >= profile.radius
    surface = _cone_surface if profile.kind == "cone" and not rim else lower_surface
    height = surface(profile, x.astype(exact), y.astype(exact), way).astype(np.float32, copy=False)
    for k in range(len(a)):  # one call per window: windows overlap, so they cannot be written at once
        view = field[r0[k] : r0[k] + ny, c0[k] : c0[k] + nx]
        np.minimum(view, height[k], out=view)


def lowest_strokes(strokes: Strokes, tools: Mapping[int, Tool], x: float, y: float) -> FloatArray:
    """Return the lower surface of every stroke at one point, mm; inf where it does not come there."""
    out = np.full(len(strokes), np.inf)
    for number in np.unique(strokes.tool):
        profile = profile_of(tools[int(number)]) if int(number) in tools else None
        if profile is None:
            continue
        own = np.flatnonzero(strokes.tool == number)
        a, b = strokes.a[own], strokes.b[own]
        out[own] = lower_surface(profile, x - a[:, 0], y - a[:, 1], directions(a, b))
    return out
