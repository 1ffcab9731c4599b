"""Write docs/checks.md: the table of all codes, from the one that pathgen uses. Run it after adding a code."""

from pathlib import Path

from pathgen.proof.codes import ACCEPTABLE, CODES, GROUPS

INTRO = """# What is checked

Every finding has a code that stays the same, a severity, a sentence, a place (line, cut, x y z), an amount and advice.
*Errors* stop `programs()` and `write()`. *Warnings* and *notes* are printed in console and sheet and stop nothing:
where you have stated nothing, pathgen can only warn; what you stated and the program breaks is an error. What could
not be checked at all for want of a word from you stands in `Proof.unchecked`.

Only {accepted} can be accepted, each with its amount. Figures called common practice have no better source.

A check looks at all moves of all programs of a job at once and says each thing once for each cut, with the number of
places; the place told is the worst. So it is with any program:

```python
import pathgen as pg

text = \"\"\"(Tool T1)
G21 G17 G90 G94 G40 G80 G54
G61
G0 Z5
X20 Y20
S16000 M3
G4 P3
Z1
G1 Z-14 F300
X80 F300
M2
\"\"\"
board = pg.Stock(100, 60, 18, material="hardwood")
proof = pg.check(text, tools={{1: pg.EndMill(6)}}, stock=board)
print(*proof.findings, sep="\\n")
assert {{"end-not-up", "spindle-left-on", "chip-load-low"}} <= {{f.code for f in proof.findings}}
```

## What the checks take as a limit

"""


LIMITS = (
    (
        "ramps",
        "3 degrees in metal, 5 in hardwood, boards and acrylic, 10 in softwood and foam; never above the tool's own",
        "common practice",
    ),
    ("helical bore", "1.2 to 1.8 diameters", "common practice"),
    (
        "slot one cutter wide",
        "lifts to clear its chips from 2 diameters down, 1 in metal and acrylic; 1.3 diameters are wide",
        "common practice",
    ),
    ("down spiral in a slot", "at most 1.5 diameters deep", "common practice"),
    ("up spiral", "not through sheet up to 6 mm without a stated hold-down", "common practice"),
    (
        "chip load",
        "at most 3 % of the diameter in wood and plastics, 1.5 % in aluminium, 1.2 % in brass; rubs below a fifth",
        "common practice",
    ),
    (
        "speed reached",
        "look-ahead, corners and acceleration of the stated machine; without one the feed",
        "elementary mechanics",
    ),
    ("waiting in contact", "0.2 s in wood and plastic; a diamond never", "common practice"),
    (
        "finish pass",
        "takes twice `positioning`; above 0.1 mm of it climbs, and takes at most 0.1 mm",
        "common practice",
    ),
    ("diamond on glass", "comes down with 300 mm/min at most", "common practice"),
    ("arcs", "at least 0.02 mm and 20 steps of the last decimal long", "common practice"),
    ("tool length", "by G43 alone", "NISTIR 6556"),
    ("rapids", "pass the highest keep-out by 5 mm", "common practice"),
)
"""What the checks hold programs against: rule, figure, source."""


def page() -> str:
    """Return the page."""
    parts = [INTRO.format(accepted=" and ".join(f"`{c}`" for c in ACCEPTABLE))]
    parts.append("| rule | figure | source |\n|---|---|---|")
    parts += [f"| {rule} | {figure} | {source} |" for rule, figure, source in LIMITS]
    for title, codes in GROUPS.items():
        parts.append(f"\n## {title}\n\n| code | severity | meaning | advice |\n|---|---|---|---|")
        parts += [f"| `{c}` | {CODES[c].severity} | {CODES[c].meaning} | {CODES[c].advice} |" for c in codes]
    return "\n".join(parts) + "\n"


if __name__ == "__main__":
    (Path(__file__).parent / "checks.md").write_text(page(), encoding="utf-8")
