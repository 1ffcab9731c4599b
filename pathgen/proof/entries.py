"""How tools enter the material: plunges, ramps, bores, and slots that chips must leave."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from pathgen.model.findings import Finding
from pathgen.model.motion import RAPID
from pathgen.proof.setting import STEP, Setting, drops, found


def entries(s: Setting) -> Iterator[Finding]:
    """Tools that cannot plunge, and tools with a steepest entry, enter as they may."""
    t = s.track
    drop, level = drops(t)
    angle = np.degrees(np.arctan2(drop, level))
    material = (t.kind != RAPID) & (drop > 0.01) & (t.end[:, 2] < -STEP)
    cannot = s.tool_table(lambda tool: not tool.center_cutting, 0.0) > 0
    yield from found(
        s, "plunge", material & cannot & (angle > 60), drop, "A tool that cannot plunge goes down {:.3f} mm"
    )
    limit = s.tool_table(lambda tool: tool.max_ramp, np.inf)
    steep = material & (angle > limit + 0.1) & ~(cannot & (angle > 60))
    yield from found(s, "ramp-steep", steep, angle, "A tool goes down at {:.1f} degrees")
