"""`check`: any RS-274 program, cut in simulation without a design."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Mapping, Sequence

from pathgen.errors import ArgumentError
from pathgen.model.heightmap import HeightMap, check_cut_stock
from pathgen.model.machine import Machine
from pathgen.model.motion import RAPID, Motion
from pathgen.model.stock import Stock
from pathgen.model.tool import Tool
from pathgen.motion.read import read_program
from pathgen.motion.time import time, total
from pathgen.proof.prove import check_tools, prove
from pathgen.proof.report import Proof
from pathgen.proof.strokes import track_of


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
        tools: T number to tool; those that no program calls are left out of account.
        stock: the slab; its zero is where the programs have X0 Y0 Z0.
        machine: its limits; None = unknown.
        grid: step of the height field, mm; None = chosen from the tools.
        stock_after: the stock as an earlier proof left it (its `.height`).

    Returns:
        The proof. Without a design nothing is held against it, so `.ok` is False or None, never True. Its `.time` is
        how long the machine takes, where one is given; its `.box` what was cut.

    Raises:
        ArgumentError: for no texts, another kind of value than stated above, a `stock_after` of another stock or grid,
            or a grid so fine that it does not fit into memory.
    """
    texts = (text,) if isinstance(text, str | bytes) or not isinstance(text, Iterable) else tuple(text)
    for one in texts:
        if not isinstance(one, str):
            raise ArgumentError(f"a program is a text, not a {type(one).__name__}: give what stands in its file as str")
    if not isinstance(stock, Stock):
        raise ArgumentError(f"stock={stock!r} is no stock: give Stock(width, height, thickness, material=...)")
    if machine is not None and not isinstance(machine, Machine):
        raise ArgumentError(f"machine={machine!r} is no machine: give Machine(...), or leave it out")
    if stock_after is not None:
        check_cut_stock(stock_after, stock, grid)
    check_tools(tools)
    motions = [read_program(one) for one in texts]
    used = _used(motions, tools, stock) if motions else tools
    proof = prove(texts, tools=used, stock=stock, machine=machine, grid=grid, stock_after=stock_after)
    if machine is None:
        return proof
    spent = total([time(motion, machine) for motion in motions], change_time=machine.change_time)
    return dataclasses.replace(proof, time=spent)


def _used(motions: Sequence[Motion], tools: Mapping[int, Tool], stock: Stock) -> Mapping[int, Tool]:
    """Return the tools that cut: a shop's list holds many, and a small one among them would make the grid fine.

    Where a program does not say which tool cuts, all of them.
    """
    track = track_of(motions, tools, stock)
    numbers = set(track.tool[track.kind != RAPID].tolist())
    used = {n: tool for n, tool in tools.items() if n in numbers}
    return tools if 0 in numbers or not used else used
