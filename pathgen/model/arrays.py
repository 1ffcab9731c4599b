"""Array types and the frozen arrays that values carry."""

from __future__ import annotations

from typing import Any, TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray: TypeAlias = NDArray[np.float64]
IntArray: TypeAlias = NDArray[np.int64]
BoolArray: TypeAlias = NDArray[np.bool_]

ROUND_DECIMALS = 6
"""Geometry is rounded to 1e-6 mm before any choice (ties, closeness), so that every machine chooses alike.
Larger: rounding would show in the programs. Smaller: float noise of different processors decides."""


def frozen(values: ArrayLike, shape: tuple[int | None, ...] | None = None) -> FloatArray:
    """Return a read-only float64 copy of `values`, checked against `shape` (None = any length).

    Raises:
        ValueError: if the shape differs.
    """
    array = np.array(values, dtype=np.float64)
    if shape is not None and (
        array.ndim != len(shape) or any(s is not None and s != n for s, n in zip(shape, array.shape, strict=True))
    ):
        raise ValueError(f"expected an array of shape {shape}, got {array.shape}")
    array.flags.writeable = False
    return array


def frozen_like(values: Any, dtype: Any) -> NDArray[Any]:
    """Return `values` as a read-only array of `dtype`, copied only where it must be."""
    array = np.asarray(values, dtype=dtype)
    if array.flags.writeable:
        array = array.view() if array.base is None else array.copy()
        array.flags.writeable = False
    return array
