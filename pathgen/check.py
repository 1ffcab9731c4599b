"""`check`: any RS-274 program, cut in simulation without a design."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence

from pathgen.model.heightmap import HeightMap
from pathgen.model.machine import Machine
from pathgen.model.stock import Stock
from pathgen.model.tool import Tool
from pathgen.motion.read import read_program
from pathgen.motion.time import time, total
from pathgen.proof.prove import prove
from pathgen.proof.report import Proof


def check(
    text: str | Sequence[str],
    *,
    tools: Mapping[int, Tool],
    stock: Stock,
    machine: Machine | None = None,
    grid: float | None = None,
    stock_after: HeightMap | None = None,
) -> Proof:
    """Check any RS-274 program, whoever wrote it.

    Args:
        text: one program, or several that run one after the other on one stock.
        tools: T number to tool.
        stock: the slab; its zero is where the programs have X0 Y0 Z0.
        machine: its limits; None = unknown.
        grid: step of the height field, mm; None = chosen from the tools.
        stock_after: the stock as an earlier proof left it (its `.height`).

    Returns:
        The proof. Without a design nothing is held against it, so `.ok` is False or None, never True. Its `.time` is
        how long the machine takes, where one is given; its `.box` what was cut.

    Raises:
        ArgumentError: for no texts, or a grid so fine that it does not fit into memory.
    """
    texts = (text,) if isinstance(text, str) else tuple(text)
    proof = prove(texts, tools=tools, stock=stock, machine=machine, grid=grid, stock_after=stock_after)
    if machine is None:
        return proof
    times = [time(read_program(one), machine) for one in texts]
    return dataclasses.replace(proof, time=total(times, change_time=machine.change_time))
