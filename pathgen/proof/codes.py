"""Every code of every finding in pathgen: how grave it is, what it means, what to do. One table."""

from __future__ import annotations

from typing import Any, NamedTuple

from pathgen.model.findings import Finding, Severity
from pathgen.motion.codes import READ_CODES
from pathgen.motion.codes import severity as read_severity


class Code(NamedTuple):
    """One row of the table."""

    severity: Severity
    meaning: str
    advice: str


ACCEPTABLE = ("gouge", "residual")
"""The only codes a maker may accept, each with its amount; everything else would harm tool, machine or hand."""

_E: Severity = "error"
_W: Severity = "warning"
_N: Severity = "note"

_PROOF: dict[str, Code] = {
    "gouge": Code(_E, "the part is cut deeper than asked", "Plan the cut anew, or accept the amount."),
    "residual": Code(
        _E, "material is left that the tool could have reached", "Plan the cut anew, or accept the amount."
    ),
    "not-through": Code(
        _E, "a through cut does not reach the underside of the thickest board", "Give below= enough for the range."
    ),
    "below-table": Code(
        _E, "a tool goes deeper below the board than was stated", "State it with below=, or cut less deep."
    ),
    "below-board": Code(
        _W, "a tool goes below the board, into the table", "Say how far it may, or lay a sheet under the board."
    ),
    "too-little-left": Code(
        _E, "less material remains under a cut than was asked", "Cut less deep, or take a thicker board."
    ),
    "loose-piece": Code(
        _E, "a piece is cut free with nothing to hold it", "Give bridges=, leave a skin, or state a hold-down there."
    ),
    "loose-chip": Code(
        _W, "a piece smaller than the cutter is cut free", "Keep hands away; it may be thrown. Pocket it away instead."
    ),
    "mirrored-wrong": Code(
        _E, "the finished part shows the artwork the wrong way round", "Mirror the shape once, then plan the cuts."
    ),
    "mirrored-unknown": Code(
        _E,
        "nothing says how the front of this back-side job must look",
        "Give artwork=, the unmirrored original, or look at the front view and give confirmed=True.",
    ),
    "mirrored-symmetric": Code(
        _W, "the artwork looks the same mirrored, so its handedness cannot be told", "Look at the front view."
    ),
    "art-differs": Code(
        _W, "what is cut does not look like the artwork", "Check size, place and layers of the drawing."
    ),
    "thickness-range": Code(
        _W,
        "the board's thickness is stated without a range, and this job depends on it",
        "Measure the board and give thickness_range=(least, most).",
    ),
    "floor-ridge": Code(
        _W, "a sharp bit leaves ridges on the flat floor of a groove", "Give floor_tool= for a smooth floor."
    ),
    "touch-off-cut": Code(
        _E, "the spot where tools are set is cut away", "Choose a spot that stays, or set zero_height='table'."
    ),
}

_PROGRAM: dict[str, Code] = {
    "rapid-in-material": Code(_E, "a rapid runs through material", "Feed there, or lift first."),
    "rapid-low": Code(
        _E, "a rapid crosses the stock below the clearance height", "Lift to the clearance height first."
    ),
    "rapid-diagonal": Code(
        _E,
        "a rapid moves Z together with X or Y: the axes do not arrive together, so its way is not a straight line",
        "Move Z alone, then X and Y.",
    ),
    "first-move": Code(
        _E, "the first motion is not Z alone up to a safe height", "Begin with Z alone up to the clearance height."
    ),
    "plunge": Code(_E, "a tool that cannot cut with its middle goes straight down", "Enter by a ramp or a helix."),
    "ramp-steep": Code(_E, "a move goes down steeper than the tool may", "Enter by a flatter ramp."),
    "deeper-than-edges": Code(_E, "a tool cuts deeper than its edges are long", "Take a longer tool or cut less deep."),
    "deeper-than-stick-out": Code(
        _E, "a tool goes deeper than it sticks out: its holder would touch", "Take a longer tool or cut less deep."
    ),
    "shank-touches": Code(
        _E, "the shank or the holder touches material above the cutting edges", "Take a longer or slimmer tool."
    ),
    "outside-travel": Code(_E, "a move leaves the machine's travel", "Move the stock, or turn it."),
    "outside-stock": Code(_W, "a cut leaves the stock's outline", "Place the work on the stock, if this is not meant."),
    "spindle-on-dragging": Code(
        _E, "the spindle runs with a tool that must never spin", "Give rpm=0; stop the spindle before this tool."
    ),
    "spindle-off": Code(_E, "a spinning tool cuts while the spindle is off", "Start the spindle with M3 first."),
    "spindle-reversed": Code(_E, "the spindle turns backwards in material", "Start it with M3."),
    "spindle-left-on": Code(_W, "the spindle still runs at the program's end", "Stop it with M5."),
    "speed-above-machine": Code(
        _E, "a spindle speed outside the machine's range", "Change rpm, and feed in proportion."
    ),
    "speed-above-tool": Code(_E, "a spindle speed above what the tool's maker allows", "Lower rpm."),
    "feed-above-machine": Code(_E, "a feed above the machine's highest", "Lower the feed."),
    "plunge-feed": Code(
        _E,
        "a downward move is faster than the plunge feed allows",
        "F must be at most plunge / sin(angle below level).",
    ),
    "no-spin-up": Code(_E, "a tool enters before the spindle is up to speed", "Dwell with G4 after M3."),
    "no-spin-down": Code(_E, "a stop or tool change before the spindle stands still", "Dwell with G4 after M5."),
    "mode-not-stated": Code(_W, "a mode is left as the controller was", "State G17 and G90 before any motion."),
    "corners-rounded": Code(
        _W, "the controller may round corners, since no exact path mode is stated", "State G61 where it is understood."
    ),
    "length-not-applied": Code(
        _E, "Z moves after a tool change before the tool's length is applied", "Give G43 with the tool's H after M6."
    ),
    "mixed-tools": Code(_E, "spinning and dragging tools share one file", "Write a file for each."),
    "unknown-tool": Code(_E, "a tool is used that is not in the tool list", "State the tool for this T number."),
    "no-tool-named": Code(_E, "the program cuts before it has named a tool", "Name the tool with T and M6."),
    "keep-out": Code(_E, "a tool, shank or holder comes into a keep-out", "Move the clamp, or raise the clearance."),
    "own-full-circle": Code(
        _E, "an arc that was rounded into a full circle", "This is a fault of pathgen: please report the job."
    ),
    "cuts-nothing": Code(_W, "no move of the program goes below the face", "Check the work zero."),
}

_PLAN: dict[str, Code] = {
    "inch-size": Code(_N, "a size that is more often meant in inches", "Give inch(...) where inches are meant."),
    "plunge-entry": Code(
        _W, "a tool goes straight down for want of room", "Take a smaller tool, or drill there first."
    ),
    "unreached": Code(_W, "places that the tool cannot enter stay uncut", "Take a smaller tool, or let them stand."),
    "deep-slot": Code(_W, "a slot one cutter wide is deeper than its chips can leave", "Widen it with slot_width=."),
    "no-lead": Code(_N, "there is no room in the waste to join a wall gently", "Leave more room beside the outline."),
    "slug-cleared": Code(_N, "waste that would drop loose is cleared away", "A smaller cutter allows for bridges."),
    "parts-joined": Code(_W, "parts stand nearer to each other than the cutter is wide", "Move them apart."),
    "steep-bridge": Code(_N, "ramped bridges rise steeper than the entry's angle", "Take shorter or fewer bridges."),
    "inlay-changed": Code(_N, "a shape is changed so that both cutters can make it", "Take smaller cutters."),
    "inlay-fit": Code(_N, "what an ISO 286 fit means at a place", "Measure a trial before the costly piece."),
    "inlay-fit-uneven": Code(_W, "one clearance does not suit all widths of the shape", "Give a clearance in mm."),
    "inlay-gap": Code(_W, "too little room under a plug", "Give more under_gap=."),
    "inlay-proud": Code(_W, "a plug hardly stands above the face", "Take a thicker board, or a shallower pocket."),
    "inlay-tolerance": Code(_W, "an inlay's outline was read coarsely", "Give tolerance=0.001 to read() or text()."),
    "inlay-ridge": Code(_W, "parts of a plug meet the pocket's bottom with no gap", "Take a sharper bit."),
    "inlay-detail": Code(_W, "thin detail on a plug may break", "Draw it bolder."),
    "groove-limit": Code(_N, "wide strokes get a flat floor", "Give depth_limit= for another depth."),
    "valley-shallow": Code(
        _N,
        "a valley between raised letters does not reach the floor",
        "Set the letters further apart, or let it stand.",
    ),
    "flatness": Code(_N, "how flat the top must be for the grooves to keep their width", "Face or measure the board."),
    "size-differs": Code(_W, "the piece comes out in another size than asked", "Check the drawing's units."),
    "size-mistaken": Code(_W, "another unit would make the size fit", "Give read(units=...)."),
    "touch-off-moved": Code(_N, "tools are set beside the work zero", "Give touch_off=(x, y) for another spot."),
}

_FIT: dict[str, Code] = {
    "fit-interferes": Code(_E, "plug and pocket would be in the same place", "Plan both halves anew, together."),
    "fit-clearance": Code(_E, "the air between the walls is not what was asked", "Plan both halves anew, together."),
    "fit-contact": Code(_E, "sloped walls do not touch", "Cut both halves with the same bit, its angle as measured."),
    "fit-open": Code(_E, "the plug does not fill the pocket at the face", "Plan both halves anew, together."),
    "fit-gap": Code(_E, "the room under the plug is not what was asked", "Check both depths and the bit's angle."),
    "fit-proud": Code(_E, "the plug does not stand as high as asked", "Check both depths and the plug's board."),
    "fit-too-fine": Code(
        _W, "a fit finer than the machine moves", "Cut a trial, and hold both halves against it, or ask for more air."
    ),
}

CODES: dict[str, Code] = {
    **{code: Code(read_severity(code), meaning, "") for code, meaning in READ_CODES.items()},
    **_PLAN,
    **_FIT,
    **_PROGRAM,
    **_PROOF,
}
"""Code to (severity, meaning, advice)."""


def finding(code: str, text: str, **more: Any) -> Finding:
    """Return a finding whose severity and, unless given, advice come from the table."""
    row = CODES[code]
    return Finding(code=code, severity=row.severity, text=text, advice=more.pop("advice", row.advice), **more)
