"""What `check` has to say of programs: as lines for people, and as JSON for other programs."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

from pathgen.model.findings import Finding
from pathgen.model.stock import Stock
from pathgen.units import MM_PER_INCH

if TYPE_CHECKING:
    from pathgen.proof.report import Proof

_ARGUMENT = re.compile(r"\s*\([a-z_]+=\)")
"""Sentences of the proof name arguments of Python calls, which are no help to those who made none."""


def report_lines(proof: Proof, stock: Stock, files: Sequence[str]) -> Iterator[str]:
    """Yield the report on checked programs, line by line.

    Findings come first, the gravest first, each as ``file:line: severity code: text advice (place) [number]``; the
    number stands at its place in the picture. Places count from the work zero, as the machine shows them.

    Args:
        proof: of the programs.
        stock: they were checked on.
        files: names of the programs, in order.
    """
    for number, f in enumerate(proof.findings, 1):
        at = _where(f, stock)
        place = f" ({at}) [{number}]" if at else ""
        advice = f" {f.advice}" if f.advice else ""
        text = f.text if f.text.endswith((".", "!", "?", ")")) else f"{f.text}."
        yield f"{_source(f, files)}: {f.severity} {f.code}: {text}{advice}{place}"
    counted = [(sum(f.severity == s for f in proof.findings), s) for s in ("error", "warning", "note")]
    yield ", ".join(f"{n} {word}{'' if n == 1 else 's'}" for n, word in counted)
    yield _cut_words(proof, stock)
    if proof.time is None:
        yield "Time: not known, since no machine is given"
    else:
        yield f"Time: {proof.time}"
        if proof.time.uncounted:
            n = len(proof.time.uncounted)
            yield f"Time: {n} move{'s' * (n > 1)} not counted, as the program does not say where they begin"
    if proof.unchecked:
        yield "Not checked:"
        yield from (f"- {_ARGUMENT.sub('', sentence)}" for sentence in proof.unchecked)


def report_json(proof: Proof, stock: Stock, files: Sequence[str]) -> str:
    """Return the same as JSON: `ok`, `programs`, `findings`, `box`, `removed`, `time`, `unchecked`.

    Lengths are in mm, volumes in mm3, times in seconds; what is not known is null. `findings` have `number`,
    `severity`, `code`, `text`, `advice`, `file`, `line`, `cut`, `place` (x, y, z from the work zero) and `amount`.

    Args:
        proof: of the programs.
        stock: they were checked on.
        files: names of the programs, in order.
    """
    time, box = proof.time, _from_zero(proof, stock)
    told = {
        "ok": proof.ok,
        "programs": list(files),
        "findings": [_entry(n, f, stock, files) for n, f in enumerate(proof.findings, 1)],
        "box": None if box is None else dict(zip(("x0", "y0", "x1", "y1", "z"), box, strict=True)),
        "removed": proof.removed,
        "time": None
        if time is None
        else {
            "total": time.total, "feed": time.feed, "rapid": time.rapid, "dwell": time.dwell, "change": time.change,
            "spin": time.spin, "by_tool": {str(k): v for k, v in time.by_tool.items()},
            "stops": len(time.stops), "uncounted": len(time.uncounted),
        },
        "unchecked": [_ARGUMENT.sub("", sentence) for sentence in proof.unchecked],
    }  # fmt: skip
    return json.dumps(_finite(told), indent=1, allow_nan=False)


def _entry(number: int, f: Finding, stock: Stock, files: Sequence[str]) -> dict[str, Any]:
    where = None if f.where is None else [a - b for a, b in zip(f.where, (*stock.zero_xy, stock.zero_z), strict=True)]
    return {
        "number": number, "severity": f.severity, "code": f.code, "text": f.text, "advice": f.advice,
        "file": _file(f, files), "line": f.line, "cut": f.cut, "place": where, "amount": f.amount,
    }  # fmt: skip


def _finite(value: Any) -> Any:
    """Return a value with every number that JSON does not know as None, and floats rounded to 1e-6."""
    if isinstance(value, dict):
        return {k: _finite(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(v) for v in value]
    if isinstance(value, float):
        return round(value, 6) if math.isfinite(value) else None
    return value


def _file(f: Finding, files: Sequence[str]) -> str | None:
    """Return the file a finding is about: the proof names programs by their number, from 1."""
    if len(files) == 1:
        return files[0]
    number = int(f.program) if f.program is not None and f.program.isdecimal() else 0
    return files[number - 1] if 1 <= number <= len(files) else None


def _source(f: Finding, files: Sequence[str]) -> str:
    file = _file(f, files) or "all programs"
    return file if f.line is None else f"{file}:{f.line}"


def _where(f: Finding, stock: Stock) -> str:
    if f.where is None:
        return ""
    return "X {:.1f} Y {:.1f} Z {:.2f}".format(
        *(a - b for a, b in zip(f.where, (*stock.zero_xy, stock.zero_z), strict=True))
    )


def _from_zero(proof: Proof, stock: Stock) -> tuple[float, ...] | None:
    """Return the box of what is cut, from the work zero."""
    if proof.box is None:
        return None
    zero = (*stock.zero_xy, *stock.zero_xy, stock.zero_z)
    return tuple(round(a - b, 6) + 0.0 for a, b in zip(proof.box, zero, strict=True))


def _cut_words(proof: Proof, stock: Stock) -> str:
    box = _from_zero(proof, stock)
    if box is None:
        return "Cut: nothing"
    x0, y0, x1, y1 = (round(v, 1) + 0.0 for v in box[:4])  # a zero must not be shown as -0.0
    z = box[4]
    size = f"{x1 - x0:.1f} x {y1 - y0:.1f} mm ({(x1 - x0) / MM_PER_INCH:.2f} x {(y1 - y0) / MM_PER_INCH:.2f} in)"
    return f"Cut: {size}, X {x0:.1f} to {x1:.1f}, Y {y0:.1f} to {y1:.1f}, down to Z {z:.2f}"
