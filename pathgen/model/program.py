"""`Program`: one written RS-274 text with the tools it calls."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from pathgen.model.tool import Tool


@dataclass(frozen=True, eq=False, kw_only=True)
class Program:
    """One file for the machine.

    Attributes:
        name: safe for file names, without suffix ("Fern-1-V-bit").
        text: the RS-274 program, lines ended by a newline each.
        tools: T number to tool.
        cuts: names of the cuts in it, in order.
        message: what to do before it is started, in words, or "".
    """

    name: str
    text: str
    tools: Mapping[int, Tool]
    cuts: tuple[str, ...] = ()
    message: str = ""
