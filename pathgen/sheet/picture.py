"""Pictures of the simulated part: a height field lit like a finished sign on a bench.

Light comes from the upper left, a little warm, as on a drawing board; the ground is paper. Everything is computed
in linear light from heights: slopes (Lambert's cosine law), cast shadows (a running maximum along the light), and
the darkening of hollows (open sky seen from a point, estimated from averages around it).
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from pathgen.errors import ArgumentError, positive
from pathgen.model.arrays import BoolArray, FloatArray
from pathgen.sheet.marks import Kind, Mark, hatch, with_marks
from pathgen.sheet.plan import paths_svg
from pathgen.sheet.surface import Look, grain, look

__all__ = ["part_png", "paths_svg"]

Image: TypeAlias = NDArray[Any]

SUN: Final = (1.0, 0.955, 0.87)
SKY: Final = (0.93, 0.95, 1.0)
"""Colors of the two lights in linear light: a warm lamp, a cool window."""

LIFT: Final = 0.95
"""tan of the lamp's angle over the table (43.5 degrees): lower, letters drown in shadow; higher, they look flat."""

GROUND: Final = (0.80, 0.775, 0.735)
"""The paper that the part lies on, linear light."""

DIM: Final = 0.24
"""How much darker the deepest floor is than the face: less, and floors of two depths look like one."""

MARK: Final = 5
"""Hatched cells are grown to at least this many pixels, so that a single cell can be seen."""


@dataclass(frozen=True, eq=False)
class _Scene:
    """Heights on the picture's own grid, top row first; mm. `drawn` is the share of each cell that was drawn over."""

    height: Image
    solid: BoolArray
    cell: float
    depth: float
    drawn: Image | None = None


def part_png(
    height: FloatArray,
    *,
    pixel: float,
    material: str,
    thickness: float | None = None,
    gouge: BoolArray | None = None,
    residual: BoolArray | None = None,
    keep: BoolArray | None = None,
    touched: BoolArray | None = None,
    marks: Sequence[Mark] = (),
    grain_angle: float = 0.0,
    width: int = 1400,
    margin: float = 0.06,
) -> bytes:
    """Return a PNG of the simulated part seen from above.

    Args:
        height: heights (rows, columns), mm, 0 at the face and negative below; row 0 has the lowest y.
        pixel: size of a cell, mm.
        material: one of `pathgen.model.stock.MATERIALS`; decides color, grain and gloss.
        thickness: of the stock, mm; cells as deep show the ground under the part. None = nothing goes through.
        gouge: cells (same shape) cut too deep: a dark hatch rising to the right.
        residual: cells left standing: a light hatch falling to the right.
        keep: cells to show; elsewhere the ground, as when the part is out of its frame. None = all.
        touched: cells that a knife or a diamond draws over, in the color of a cut: their depth is not known.
        marks: places to look at, the gravest first; they lie over the hatches.
        grain_angle: of the wood's grain or the metal's brushing, degrees counter-clockwise from X.
        width: of the longer side of the picture, pixels.
        margin: of ground around the part, as a share of its longer side.

    Returns:
        The bytes of an RGB PNG; the same heights always give the same bytes. Where anything is marked, a legend
        stands in a strip under the part.

    Raises:
        ArgumentError: for an array that is not two-dimensional or not finite, or masks of another shape.
    """
    field = np.asarray(height, dtype=np.float32)
    if field.ndim != 2 or field.size == 0 or not np.isfinite(field).all():
        raise ArgumentError("a picture needs a two-dimensional array of finite heights")
    positive("pixel", pixel)
    masks = [m if m is None else np.asarray(m, dtype=bool) for m in (gouge, residual, keep, touched)]
    if any(m is not None and m.shape != field.shape for m in masks):
        raise ArgumentError("gouge, residual, keep and touched must have the shape of the heights")
    if not 64 <= width <= 8000 or not 0 <= margin <= 1:
        raise ArgumentError(f"width={width} must lie between 64 and 8000 pixels, margin={margin:g} between 0 and 1")
    paint = look(material)
    scene, step = _scene(field, float(pixel), thickness, masks[2], 2 * width, margin)
    if masks[3] is not None:
        drawn = _on_grid(masks[3][::-1].astype(np.float32), step, scene, margin)
        scene = replace(scene, drawn=np.minimum(drawn, 1.0))
    rgb = _lit(scene, paint, grain_angle)
    hatched: list[Kind] = []
    kinds: tuple[tuple[Kind, BoolArray | None], ...] = (("gouge", masks[0]), ("residual", masks[1]))
    for kind, mask in kinds:
        if mask is not None and mask.any():
            cells = _on_grid(mask[::-1].astype(np.float32), step, scene, margin) > 0.0
            hatch(rgb, _blurred(cells.astype(np.float32), MARK) > 1e-5, kind)
            hatched.append(kind)
    room = round(max(field.shape) * margin / step)
    placed = [(m.kind, (m.x / step + room) / 2, ((len(field) - m.y) / step + room) / 2, m.number) for m in marks]
    return _encode(rgb, placed, hatched)


def _scene(
    field: Image, pixel: float, thickness: float | None, keep: BoolArray | None, target: int, margin: float
) -> tuple[_Scene, float]:
    """Bring heights to about `target` cells along the longer side, with ground around them."""
    deep = float(thickness) if thickness is not None else max(4.0, -1.3 * float(field.min()))
    through = field <= -(deep - 0.02) if thickness is not None else np.zeros(field.shape, bool)
    if keep is not None:
        through = through | ~keep
    longer = max(field.shape) * (1 + 2 * margin)
    step = longer / target
    flat = np.where(through, np.float32(-deep), field)[::-1]
    pads = _pad(field.shape, step, margin)
    # smoothed over one cell: resampled samples else show as ripples on sloping walls
    h = np.pad(_blurred(_resized(flat, step), 1), pads, constant_values=-deep)
    solid = np.pad(_resized((~through[::-1]).astype(np.float32), step) > 0.5, pads, constant_values=False)
    h = np.where(solid, np.maximum(h, -deep), np.float32(-deep))
    return _Scene(h.astype(np.float32), solid, pixel * step, deep), step


def _pad(shape: tuple[int, ...], step: float, margin: float) -> tuple[tuple[int, int], tuple[int, int]]:
    """Rows and columns of ground on each side; the whole comes out even, so that cells pair into pixels."""
    room = round(max(shape) * margin / step)
    rows, columns = (max(1, round(n / step)) for n in shape)
    return ((room, room + rows % 2), (room, room + columns % 2))


def _on_grid(mask: Image, step: float, scene: _Scene, margin: float) -> Image:
    padded = np.pad(_resized(mask, step, largest=True), _pad(mask.shape, step, margin))
    return padded[: scene.height.shape[0], : scene.height.shape[1]]


def _resized(field: Image, step: float, *, largest: bool = False) -> Image:
    """Resample so that one new cell is `step` old ones, without overshoot; `largest` keeps single cells alive."""
    from PIL import Image as Pictures

    rows, columns = (max(1, round(n / step)) for n in field.shape)
    how = Pictures.Resampling.BOX if largest else Pictures.Resampling.BILINEAR
    small = Pictures.fromarray(np.ascontiguousarray(field, dtype=np.float32)).resize((columns, rows), how)
    return np.asarray(small, dtype=np.float32)


# -- light --------------------------------------------------------------------------------------------------------


def _lit(scene: _Scene, paint: Look, grain_angle: float) -> Image:
    """Light the scene; slopes at full resolution, everything soft at half of it."""
    h, cell = scene.height, scene.cell
    small = 0.25 * (h[::2, ::2] + h[1::2, ::2] + h[::2, 1::2] + h[1::2, 1::2])
    texture = _doubled(grain(paint, small.shape, 2 * cell, grain_angle, small))
    hidden = _doubled(_shadow(small, 2 * cell, scene.depth, scene.solid[::2, ::2]))
    sky_seen = _doubled(_open(small, 2 * cell))
    base = _painted(scene, paint, texture)
    down, right = np.gradient(h, cell)
    # unit normal of a height field; rows run down the picture, so +y is up
    nx, ny = -right, down
    nz = 1.0 / np.sqrt(nx * nx + ny * ny + 1.0)
    sun = np.array([-1.0, 1.0, np.sqrt(2.0) * LIFT], np.float32)
    sun /= np.sqrt((sun * sun).sum())
    direct = np.clip((nx * sun[0] + ny * sun[1] + sun[2]) * nz, 0.0, None) / sun[2]
    lamp, sky = 0.74 * direct * (1.0 - hidden), 0.34 * sky_seen * (0.55 + 0.45 * nz)
    shine = np.float32(0.0)
    if paint.gloss:
        half = sun + np.array([0.0, 0.0, 1.0], np.float32)
        half /= np.sqrt((half * half).sum())
        shine = np.clip((nx * half[0] + ny * half[1] + half[2]) * nz, 0.0, 1.0) ** paint.sharpness
        shine = paint.gloss * shine * (1.0 - hidden) * scene.solid
    for channel in range(3):  # by channel, so that no light needs three times the memory
        base[..., channel] *= SUN[channel] * lamp + SKY[channel] * sky
        base[..., channel] += SUN[channel] * shine
    return base


def _doubled(field: Image) -> Image:
    return _resized(field, 0.5)


def _painted(scene: _Scene, paint: Look, texture: Image) -> Image:
    """Color of the surface itself: face, cut surfaces and ground."""
    share = np.clip((-scene.height - 0.03) / 0.25, 0.0, 1.0)
    if scene.drawn is not None:
        share = np.maximum(share, scene.drawn)
    deepest = max(-float(scene.height.min(where=scene.solid, initial=0.0)), 1.0)
    dim = 1.0 + DIM * scene.height / deepest
    color = np.empty((*scene.height.shape, 3), np.float32)
    for channel in range(3):
        plain = paint.face[channel] + share * (paint.cut[channel] - paint.face[channel])
        patterned = np.clip(plain * dim * (1.0 + paint.tint[channel] * texture), 0.0, 1.0)
        color[..., channel] = np.where(scene.solid, patterned, GROUND[channel])
    return color


def _shadow(h: Image, cell: float, depth: float, solid: BoolArray) -> Image:
    """Share of a wide lamp that is hidden, 0 to 1: the mean over a few points of the lamp, softer on the ground."""
    rays = ((1, 1, 0.75), (1, 1, 0.95), (1, 1, 1.2), (1, 1, 1.55), (1, 2, 0.95), (2, 1, 0.95))
    hidden = np.zeros_like(h)
    for down, right, lift in rays:
        drop = float(np.hypot(down, right)) * cell * lift
        hidden += np.clip((_horizon(h, down, right, drop, depth) - h) / max(2.0 * drop, 0.2), 0.0, 1.0)
    hidden /= np.float32(len(rays))
    sharp = _blurred(hidden, max(1, round(0.12 / cell)))
    ground = (~solid).astype(np.float32)
    wide = max(1, round(0.14 * depth / cell))  # averaged over the ground alone: the lit face must not shine into it
    soft = _blurred(hidden * ground, wide) / np.maximum(_blurred(ground, wide), 1e-3)
    return np.where(solid, sharp, 0.85 * soft)


def _horizon(h: Image, down: int, right: int, drop: float, depth: float) -> Image:
    """Return the highest line of sight toward the lamp, max over k of h(p - k (down, right)) - k drop, k >= 1.

    By doubling: with the best of 2^i steps known, the best of 2^(i + 1) is the larger of it and its copy 2^i steps
    nearer to the lamp, lowered by 2^i drop.
    """
    best, reach = np.full_like(h, -np.inf), 1
    best[down:, right:] = h[:-down, :-right] - drop
    while reach * drop <= depth and reach * max(down, right) < min(h.shape):
        nearer = best[: -reach * down, : -reach * right] - np.float32(reach * drop)
        view = best[reach * down :, reach * right :]
        np.maximum(view, nearer.copy(), out=view)
        reach *= 2
    return best


def _open(h: Image, cell: float) -> Image:
    """Share of the sky that a point sees: 1 on the face, less where its surroundings stand above it."""
    hidden = np.zeros_like(h)
    for radius, weight in ((0.7, 0.26), (2.5, 0.30), (8.0, 0.34)):
        r = max(1, round(radius / cell))
        hidden += weight * np.clip((_blurred(h, r) - h) / (0.9 * radius), 0.0, 1.0)
    return 1.0 - 0.85 * hidden


def _blurred(field: Image, radius: int) -> Image:
    """Mean over a square of 2 radius + 1 cells, twice (running sums), edges continued."""
    out = field.astype(np.float64)
    for axis in (0, 1, 0, 1):
        n = min(radius, out.shape[axis] - 1)
        if n < 1:
            continue
        pad = [(0, 0), (0, 0)]
        pad[axis] = (n + 1, n)
        total = np.cumsum(np.pad(out, pad, mode="edge"), axis=axis)
        head: list[Any] = [slice(None), slice(None)]
        tail: list[Any] = [slice(None), slice(None)]
        head[axis], tail[axis] = slice(2 * n + 1, None), slice(None, -(2 * n + 1))
        out = (total[tuple(head)] - total[tuple(tail)]) / (2 * n + 1)
    return out.astype(np.float32)


# -- file --------------------------------------------------------------------------------------------------------


def _encode(rgb: Image, marks: Sequence[tuple[Kind, float, float, int | None]], hatched: Sequence[Kind]) -> bytes:
    """Average 2 x 2 cells to a pixel, turn linear light into sRGB (IEC 61966-2-1), draw the marks and write a PNG."""
    from PIL import Image as Pictures

    rows, columns, _ = rgb.shape
    small = rgb.reshape(rows // 2, 2, columns // 2, 2, 3).mean(axis=(1, 3))
    v = np.clip(small, 0.0, 1.0)
    s = np.where(v <= 0.0031308, 12.92 * v, 1.055 * v ** (1 / 2.4) - 0.055)
    out = io.BytesIO()
    page = with_marks(Pictures.fromarray(np.rint(s * 255).astype(np.uint8)), marks, hatched)
    page.save(out, format="PNG", compress_level=7)
    return out.getvalue()
