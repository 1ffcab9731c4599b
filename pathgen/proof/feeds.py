"""Feeds: no faster than the machine and the tool's plunge allow, and fast enough to cut a chip."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from pathgen.model.findings import Finding
from pathgen.model.motion import ARC, RAPID
from pathgen.proof.setting import NOISE, STEP, Setting, drops, found

FEED_SLACK = 1.002
"""Feeds are written with few digits: up to 0.2 % above the rule is rounding."""


def feeds(s: Setting) -> Iterator[Finding]:
    """Check that feeds are no higher than the machine's axes, nor downward than the plunge feed."""
    t = s.track if s.written is None else s.written  # axes move as it is written, whatever the face is like
    step = np.nan_to_num(t.end - t.start)
    drop, level = drops(t)
    length = np.hypot(level, step[:, 2])
    feeding = (t.kind != RAPID) & (length > NOISE)
    safe = np.where(length > NOISE, length, 1.0)
    if s.machine is not None:
        arc = t.kind == ARC
        limits = np.array(s.machine.feeds)
        share = np.abs(step) / safe[:, None]
        share[arc, 0] = share[arc, 1] = (level[arc] / safe[arc]) if arc.any() else 0.0
        most = np.min(limits / np.maximum(share, 1e-9), axis=1)
        over = feeding & (t.feed > most * FEED_SLACK + 0.5)
        yield from found(
            s, "feed-above-machine", over, t.feed, "The feed is {:.0f} mm/min, above the machine's highest"
        )
    plunge = s.tool_table(lambda tool: tool.cutting.plunge if tool.cutting else None, np.inf)
    down = t.feed * drop / safe
    into = feeding & (drop > STEP) & (t.end[:, 2] < s.stock.highest + NOISE)
    over = into & (down > plunge * FEED_SLACK + 0.5 + 0.5 * drop / safe)
    # a thousandth of a millimeter of rounding on a short move changes its angle
    over &= t.feed * np.maximum(drop - 0.0015, 0.0) / safe > plunge * FEED_SLACK + 0.5
    yield from found(s, "plunge-feed", over, down, "A move goes down at {:.0f} mm/min, above the tool's plunge feed")
