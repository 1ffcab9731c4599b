"""What a job's arguments must be, whatever its cuts are; each problem is said with the way out."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any, TypeAlias

from shapely.geometry.base import BaseGeometry

from pathgen.errors import ArgumentError, numbers, one_of, positive, yes_or_no
from pathgen.model.artwork import HasRegion
from pathgen.model.cut import Cut, Stop
from pathgen.model.machine import Machine
from pathgen.model.stock import Stock

Accepted: TypeAlias = tuple[str, float]
"""Code of a finding and the amount in mm up to which it is accepted."""


def flatten(cuts: Any) -> Iterator[Cut | Stop]:
    """Yield the cuts and stops of nested sequences, in order, or raise `ArgumentError`."""
    if isinstance(cuts, Cut | Stop):
        yield cuts
    elif isinstance(cuts, Iterable) and not isinstance(cuts, str):
        for c in cuts:
            yield from flatten(c)
    else:
        raise ArgumentError(f"cuts holds a {type(cuts).__name__}: give what the cutting functions return, or a Stop")


def list_of(name: str, values: Any, *kinds: type[Any]) -> tuple[Any, ...]:
    """Return a sequence of things of these kinds as a tuple, or raise `ArgumentError`."""
    found = tuple(values) if isinstance(values, Iterable) and not isinstance(values, str) else None
    if found is None or not all(isinstance(v, kinds) for v in found):
        words = " or ".join(k.__name__ for k in kinds)
        raise ArgumentError(f"{name}={values!r} must be a list of {words}, such as {name}=[{kinds[0].__name__}(…)]")
    return found


def are_texts(texts: Any) -> bool:
    """Whether this is a list of program texts; one text alone is not."""
    return isinstance(texts, Iterable) and not isinstance(texts, str) and all(isinstance(t, str) for t in texts)


def pairs(accept: Any) -> list[Accepted]:
    """Return accepted findings as pairs, or raise `ArgumentError`."""
    pairs = list(accept) if isinstance(accept, Iterable) and not isinstance(accept, str) else None
    if pairs is None or not all(isinstance(p, tuple | list) and len(p) == 2 for p in pairs):
        raise ArgumentError(f"accept={accept!r} must be a list of (code, amount in mm), such as [('gouge', 0.02)]")
    return [(p[0], p[1]) for p in pairs]


def check_arguments(job: Any) -> None:
    """Raise `ArgumentError` for what cannot be carried out whatever the cuts are."""
    for name, kind in (("stock", Stock), ("machine", Machine)):
        given = getattr(job, name)
        if not isinstance(given, kind):
            raise ArgumentError(
                f"{name} is a {type(given).__name__}, not a {kind.__name__}: the order is Job(name, stock, machine, "
                "cuts)"
            )
    one_of("face", job.face, ("top", "back"))
    one_of("order", job.order, ("tools", "listed"))
    positive("clearance", job.clearance)
    yes_or_no("confirmed", job.confirmed)
    if job.minimum_left is not None:
        positive("minimum_left", job.minimum_left, zero=True)
    if job.thin_wall is not None:
        positive("thin_wall", job.thin_wall)
    if job.at is not None:
        numbers("at", job.at, form="(x, y) or (x, y, z) in mm", counts=(2, 3))
    if job.touch_off is not None:
        numbers("touch_off", job.touch_off, form="(x, y) in mm")
    if job.size is not None:
        for value in numbers("size", job.size, form="(width, height) in mm"):
            positive("size", value)
    if job.artwork is not None and not isinstance(job.artwork, BaseGeometry | HasRegion):
        raise ArgumentError(f"artwork={job.artwork!r} has no area: give what read(), text() or plate() returned")


def check_cut(cut: Cut, stock: Stock) -> None:
    """Raise `ArgumentError` for a cut that does not belong to a stock."""
    if cut.stock is not None and cut.stock != stock:
        raise ArgumentError(f"cut {cut.name!r} was planned on another stock: plan it with stock= of this job")
    if cut.stock is None and cut.depth >= stock.thinnest - 1e-9:
        raise ArgumentError(
            f"cut {cut.name!r} is {cut.depth:g} mm deep in a stock of {stock.thinnest:g} mm: give it stock=, and "
            "depth=THROUGH if it is to go through"
        )
