"""What each material looks like in a picture: colors in linear light, grain, gloss. From memory of shops."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final, Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from pathgen.shop.materials import material as known

Color: TypeAlias = tuple[float, float, float]
Image: TypeAlias = NDArray[Any]


@dataclass(frozen=True, kw_only=True)
class Look:
    """How a material looks.

    Attributes:
        face: color of its face, linear light.
        cut: color of fresh cut surfaces.
        pattern: "wood", "brushed", "speckle" or "plain".
        strength: how much the pattern lightens and darkens.
        tint: how much of the pattern each color channel takes.
        gloss: strength of the highlight.
        sharpness: exponent of the highlight.
    """

    face: Color
    cut: Color
    pattern: Literal["wood", "brushed", "speckle", "plain"] = "plain"
    strength: float = 0.0
    tint: Color = (1.0, 1.0, 1.0)
    gloss: float = 0.0
    sharpness: float = 30.0


_WOOD_TINT = (0.85, 1.0, 1.15)

LOOKS: Final = {
    "hardwood": Look(face=(0.50, 0.285, 0.14), cut=(0.56, 0.345, 0.18), pattern="wood", strength=0.16, tint=_WOOD_TINT),
    "softwood": Look(face=(0.74, 0.53, 0.30), cut=(0.76, 0.57, 0.35), pattern="wood", strength=0.17, tint=_WOOD_TINT),
    "plywood": Look(face=(0.70, 0.53, 0.34), cut=(0.60, 0.43, 0.26), pattern="wood", strength=0.09, tint=_WOOD_TINT),
    "mdf": Look(face=(0.47, 0.33, 0.20), cut=(0.40, 0.27, 0.155), pattern="speckle", strength=0.05),
    "hdu foam": Look(face=(0.80, 0.66, 0.36), cut=(0.80, 0.67, 0.38), pattern="speckle", strength=0.04),
    "xps foam": Look(face=(0.50, 0.68, 0.80), cut=(0.54, 0.72, 0.83), pattern="speckle", strength=0.035),
    "acrylic": Look(face=(0.52, 0.67, 0.72), cut=(0.78, 0.86, 0.88), gloss=0.10, sharpness=60.0),
    "polycarbonate": Look(face=(0.58, 0.68, 0.76), cut=(0.78, 0.84, 0.89), gloss=0.09, sharpness=50.0),
    "pvc foam": Look(face=(0.84, 0.84, 0.83), cut=(0.80, 0.80, 0.79), pattern="speckle", strength=0.015),
    "brass": Look(face=(0.66, 0.46, 0.15), cut=(0.74, 0.54, 0.21), pattern="brushed", strength=0.12, gloss=0.13),
    "aluminium": Look(face=(0.58, 0.60, 0.62), cut=(0.72, 0.74, 0.76), pattern="brushed", strength=0.09, gloss=0.14),
    "card": Look(face=(0.80, 0.77, 0.70), cut=(0.74, 0.70, 0.62), pattern="speckle", strength=0.02),
    "stone": Look(face=(0.12, 0.135, 0.15), cut=(0.33, 0.345, 0.36), pattern="speckle", strength=0.16),
    "glass": Look(face=(0.50, 0.66, 0.61), cut=(0.82, 0.90, 0.88), gloss=0.16, sharpness=90.0),
}
"""Stone is thought of as slate; clear plastics and glass show their cuts frosted."""


def look(material: str) -> Look:
    """Return how a material looks.

    Raises:
        ArgumentError: for a material that is not known.
    """
    return LOOKS[known(material).name]


def grain(look: Look, shape: tuple[int, ...], cell: float, angle: float, height: Image) -> Image:
    """Return the pattern as relative lightness around 0, for rows from the top.

    Wood is thought of as solid: a board sawn from a wide trunk, so that the rings go on down into the cuts.

    Args:
        look: of the material.
        shape: (rows, columns).
        cell: mm.
        angle: of the grain, degrees counter-clockwise from X.
        height: heights on the same grid, mm.
    """
    rows, columns = shape
    if look.pattern == "plain" or look.strength == 0:
        return np.zeros((rows, columns), np.float32)
    rng = np.random.default_rng(20)
    if look.pattern == "speckle":
        fine = rng.standard_normal((rows, columns)).astype(np.float32)
        coarse = 0.6 * _noise(rng, rows, columns, 5.0 / cell) + 0.6 * _noise(rng, rows, columns, 1.3 / cell)
        return (look.strength * (0.25 * fine + 0.75 * coarse)).astype(np.float32)
    c, s = np.float32(np.cos(np.radians(angle))), np.float32(np.sin(np.radians(angle)))
    x = (np.arange(columns, dtype=np.float32) * cell)[None, :]
    y = (-np.arange(rows, dtype=np.float32) * cell)[:, None]
    along, across = c * x + s * y, c * y - s * x
    if look.pattern == "brushed":
        streak = _sampled(rng, along / 60.0, across / 0.25)
        return (look.strength * (0.6 * streak + 0.4 * _sampled(rng, along / 25.0, across / 1.5))).astype(np.float32)
    # rings: distance from a pith far below, bent by slow waves along the trunk; pores: short fine streaks
    bend = 9.0 * _sampled(rng, along / 160.0, across / 60.0) + 1.2 * _sampled(rng, along / 40.0, across / 9.0)
    radius = np.sqrt((across + bend + 25.0) ** 2 + (height + 65.0) ** 2)
    ring = np.mod(radius / 5.2, 1.0)
    late = np.where(ring < 0.8, ring / 0.8, (1.0 - ring) / 0.2) ** 2  # slow to darken, quick to lighten
    pores = _sampled(rng, along / 7.0, across / 0.22)
    slow = _sampled(rng, along / 220.0, across / 35.0)
    return (look.strength * (0.75 - 1.5 * late + 0.34 * pores + 0.5 * slow)).astype(np.float32)


def _noise(rng: np.random.Generator, rows: int, columns: int, size: float) -> Image:
    """Noise with features of `size` cells, turned a little, so that no rows or columns show."""
    y, x = np.arange(rows, dtype=np.float32)[:, None] / size, np.arange(columns, dtype=np.float32)[None, :] / size
    return _sampled(rng, 0.8 * x + 0.6 * y, 0.8 * y - 0.6 * x)


def _sampled(rng: np.random.Generator, u: Image, v: Image) -> Image:
    """Smooth value noise with features of size 1 in u and v, about -1 to 1; repeats after 256."""
    table = rng.uniform(-1.0, 1.0, (256, 256)).astype(np.float32)
    i, j = np.floor(u).astype(np.int64), np.floor(v).astype(np.int64)
    fu, fv = (u - i).astype(np.float32), (v - j).astype(np.float32)
    fu, fv = fu * fu * (3 - 2 * fu), fv * fv * (3 - 2 * fv)
    i0, i1, j0, j1 = i & 255, (i + 1) & 255, j & 255, (j + 1) & 255
    low = table[j0, i0] * (1 - fu) + table[j0, i1] * fu
    high = table[j1, i0] * (1 - fu) + table[j1, i1] * fu
    mixed: Image = low * (1 - fv) + high * fv
    return mixed
