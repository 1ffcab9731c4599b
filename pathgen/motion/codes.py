"""The codes of what the reader finds, with their meanings: one table, stable names."""

from __future__ import annotations

from pathgen.model.findings import Severity

READ_CODES: dict[str, str] = {
    # how a line is written (NISTIR 6556 section 3.3)
    "line-too-long": "a line holds more than 256 characters",
    "bad-character": "a character or letter that has no meaning outside a comment",
    "bad-line-number": "a line number that is signed, not first, or not 1 to 5 digits",
    "bad-number": "a letter with no digits after it, or a number beyond what any machine can use",
    "nested-comment": "a comment inside a comment",
    "unclosed-comment": "a comment that is not closed on its line",
    "bad-expression": "an expression that is not closed or names an unknown function or operator",
    "bad-parameter": "a parameter number outside 1 to 5399 or not whole, or a setting without =",
    "bad-arithmetic": "an expression that has no value: division by zero, root of a negative number and the like",
    "repeated-word": "the same letter twice on one line",
    "modal-conflict": "two codes of one modal group on a line, or more than four M words",
    "unknown-g": "a G code that the standard does not know",
    "unknown-m": "an M code that the standard does not know",
    "negative-word": "a negative F, S, T, P, D, H or L, or a Q that is not above 0",
    "not-whole": "a T, H, D or L that is not a whole number",
    "slot-beyond": "a T, H or D larger than the number of tool slots",
    # what a line asks for (sections 3.5 to 3.8)
    "no-axis-word": "G0 or G1 without X, Y or Z",
    "axis-without-g": "axis words that no active G code uses",
    "two-axis-users": "two G codes on one line that both use the axis words",
    "stray-word": "a word that no code on the line uses",
    "no-feed": "a feed move or arc before any feed was set, or with feed 0",
    "no-inverse-feed": "G93 is active and a feed move has no F of its own",
    "arc-end-missing": "an arc without an axis word of its plane",
    "arc-center-missing": "an arc without radius and without center",
    "arc-format-mixed": "an arc with both a radius and a center",
    "arc-wrong-offset": "a center offset along the normal of the arc's plane",
    "arc-radii-differ": "start and end of an arc lie at different distances from its center",
    "arc-zero-radius": "an arc of radius 0",
    "arc-no-chord": "an arc in radius format that ends where it starts",
    "arc-out-of-reach": "the radius is too short to reach the arc's end",
    "arc-from-unknown": "an arc that starts at a place the program has not set",
    "dwell-without-time": "G4 without P",
    "bad-offset-set": "G10 without L2 and P from 1 to 9",
    "length-without-h": "G43 without H",
    "bad-machine-move": "G53 without G0 or G1, or with G91",
    "offset-without-axis": "G92 without an axis word",
    "bad-cycle": "a drilling cycle with a word missing or out of range",
    "percent-unmatched": "the program begins with % and has no second %",
    "no-end": "the program has neither M2 nor M30 and is not enclosed by %",
    # what the standard allows and pathgen does not follow
    "cutter-compensation": "G41 or G42: the path depends on the controller's tool table",
    "not-read": "not followed by pathgen: probing, tapping and boring cycles, rotary axes, zeros set by parameter",
    # legal, to be looked at
    "sets-offset": "G92 or G10 moves the zero from within the program",
    "returns-home": "G28 or G30 moves to a place that the program does not state",
    "units-not-stated": "motion before G20 or G21",
    "units-changed": "G20 and G21 in one program after motion, or F on the line that changes them",
    "work-offset-changed": "more than one work offset; what lies between them is not in the program",
    "parameter-not-set": "a parameter is used that the program has not set; read as 0",
    "feed-from-unknown": "a feed move while the place of an axis is not known",
    "change-without-tool": "M6 before any T word",
    "full-circle": "an arc that ends where it starts: a full turn",
    "after-end": "text after the end of the program, not read",
}
"""Code to meaning."""

READ_WARNINGS = frozenset(
    {
        "sets-offset",
        "returns-home",
        "units-not-stated",
        "units-changed",
        "work-offset-changed",
        "parameter-not-set",
        "feed-from-unknown",
        "change-without-tool",
    }
)
READ_NOTES = frozenset({"full-circle", "after-end"})


def severity(code: str) -> Severity:
    """Return how grave a reading finding is: "error", "warning" or "note"."""
    if code in READ_WARNINGS:
        return "warning"
    return "note" if code in READ_NOTES else "error"
