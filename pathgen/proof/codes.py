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
    "gouge-hidden": Code(
        _W,
        "a cut goes deeper than asked where a later cut goes deeper anyway: its tool takes more than planned",
        "Check the depth of this cut and the order of cuts.",
    ),
    "left-for-next": Code(
        _E,
        "a cut leaves material it was to take, and the next tool runs into it",
        "Let the earlier cut clear all it was asked for.",
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
    "few-bridges": Code(_W, "a piece hangs on fewer than three bridges and can turn", "Give it at least three."),
    "bridges-one-side": Code(
        _W, "all bridges of a piece are on one side of it, so that it tips", "Set bridges on all sides of it."
    ),
    "bridge-range": Code(
        _W,
        "the range of the board's thickness leaves bridges with less than half of what was asked",
        "Ask for thicker bridges, measure the board, or set zero_height='table'.",
    ),
    "bridge-weak": Code(
        _W, "a bridge is weak for the cutting force beside it", "Take longer or thicker bridges, or less stepdown."
    ),
    "hold-weak": Code(
        _E, "a stated hold-down is weaker than the cutting force", "Hold over more area, or take less stepdown."
    ),
    "hold-slight": Code(
        _W, "a stated hold-down bears little more than the cutting force", "Hold over more area, or take less stepdown."
    ),
    "one-screw": Code(_W, "a piece held by a single screw can turn about it", "Give it a second screw."),
    "short-grain": Code(
        _W, "wood left standing across the grain breaks off along it", "Turn the art or the board, or cut less deep."
    ),
    "hairline": Code(
        _W, "lines under 1 mm across the grain tear out in coarse wood", "Make them wider, or take finer wood."
    ),
    "thin-wall": Code(_W, "a thin wall is left standing and may break", "Move the cuts apart, or cut less deep."),
    "detail-too-small": Code(
        _W, "a detail is smaller than its tool, so material stays there", "Take a smaller tool, or let it stand."
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
    "art-inch": Code(
        _E,
        "the artwork is cut 25.4 times too large or too small: inches were taken for mm, or mm for inches",
        "Give read(units=...) for the drawing, and place() it anew.",
    ),
    "art-size": Code(
        _W, "the artwork is cut in another size than it was drawn", "Check place() and the drawing's units."
    ),
    "art-area": Code(
        _W, "where the artwork lies, more or less is cut than it covers", "Check layers and holes of the drawing."
    ),
    "art-differs": Code(
        _W, "what is cut does not look like the artwork", "Check size, place and layers of the drawing."
    ),
    "thickness-range": Code(
        _W,
        "the board's thickness is stated without a range, and this job depends on it",
        "Measure the board and give thickness_range=(least, most).",
    ),
    "blade-off-line": Code(
        _E,
        "the tip of a trailing blade, followed through the program, leaves its line",
        "Check trail= against the blade, and plan the cut anew.",
    ),
    "blade-not-aligned": Code(
        _E,
        "nobody knows where a trailing blade points when its first line begins",
        "Let it run straight for 7.2 trails beside the part first.",
    ),
    "knife-over-part": Code(
        _E,
        "the stroke that first pulls a blade straight runs over a part or a line",
        "Say with waste= where it may run.",
    ),
    "line-left": Code(_E, "a line is not cut to its full depth", "Plan the cut anew."),
    "overcut-short": Code(
        _E,
        "an outline is not cut far enough past its start, so that its ends hang together",
        "Give overcut= of at least trail + depth / tan(edge angle).",
    ),
    "floor-ridge": Code(
        _W, "a sharp bit leaves ridges on the flat floor of a groove", "Give floor_tool= for a smooth floor."
    ),
    "restart-differs": Code(
        _E, "a restart does not give the part of the whole job", "This is a fault of pathgen: please report the job."
    ),
    "restart-faced": Code(_W, "a restart within a facing: the face has two heights", "Set zero where it is uncut."),
    "restart-knife": Code(_N, "a knife's program begins anew after a stop", "It follows its own first cuts."),
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
    "dwell-long": Code(_W, "a dwell of more than a minute", "P is in seconds: were milliseconds meant?"),
    "no-spin-down": Code(_E, "a stop or tool change before the spindle stands still", "Dwell with G4 after M5."),
    "mode-not-stated": Code(_W, "a mode is left as the controller was", "State it before any motion."),
    "corners-rounded": Code(
        _W, "the controller may round corners, since no exact path mode is stated", "State G61 where it is understood."
    ),
    "length-not-applied": Code(
        _E, "Z moves after a tool change before the tool's length is applied", "Give G43 with the tool's H after M6."
    ),
    "mixed-tools": Code(_E, "spinning and dragging tools share one file", "Write a file for each."),
    "unknown-tool": Code(_E, "a tool is used that is not in the tool list", "State the tool for this T number."),
    "no-tool-named": Code(_E, "the program cuts before it has named a tool", "Name the tool with T and M6."),
    # entries, slots
    "ramp-steep-material": Code(
        _W, "a ramp or helix is steeper than its material takes", "Give a flatter ramp= in Cutting."
    ),
    "helix-bore": Code(
        _W, "a helical bore is narrower than 1.2 or wider than 1.8 diameters", "Enter by a helix of a fitting radius."
    ),
    "slot-chips": Code(
        _W, "a deep slot one cutter wide is cut without lifting to clear its chips", "Widen it, or lift between levels."
    ),
    "down-spiral-deep": Code(
        _W,
        "a down spiral packs its chips into a slot deeper than 1.5 diameters",
        "Take an up spiral, or widen the slot.",
    ),
    "up-spiral-thin": Code(
        _W, "an up spiral lifts thin sheet, and no hold-down is stated", "State hold=, or take a down spiral."
    ),
    "both-shallow": Code(
        _W,
        "the first pass of a cutter with two spirals is no deeper than its up-cut end, so that it frays the face",
        "Make the first pass deeper than the up-cut end.",
    ),
    # chips and heat
    "chip-load-low": Code(
        _W, "the cutter rubs: its edges take thinner chips than the material needs", "Lower rpm, or raise the feed."
    ),
    "chip-load-high": Code(
        _W, "the edges take thicker chips than cutters of this diameter bear", "Raise rpm, or lower the feed."
    ),
    "standing": Code(
        _W, "a tool turns on the spot in contact, and burns or melts what it touches", "Lift before waiting."
    ),
    "cut-dry": Code(
        _W,
        "aluminium, glass or stone is cut dry",
        "Give cooling= in Cutting: air or mist in aluminium, wet in the others.",
    ),
    "many-edges": Code(
        _W, "brass is cut with more than two edges", "Take a cutter with one or two edges and little rake."
    ),
    "tape-heat": Code(_W, "brass on tape: the heat of cutting softens it", "Hold it by screws or clamps."),
    # finishing on a machine that finds a place again only so well
    "finish-fine": Code(
        _W,
        "a finish pass takes less than twice what the machine may be off",
        "Give more finish_allowance=, or state a better positioning=.",
    ),
    "finish-thick": Code(
        _W, "on a machine with play a finish pass takes more than 0.1 mm", "Give finish_allowance=0.1."
    ),
    "finish-conventional": Code(
        _W, "on a machine with play a finish pass is to run conventional", "Give direction='climb' in Cutting."
    ),
    # dragging tools
    "dragging-no-stop": Code(
        _W, "the file of a tool that must never spin does not begin with M5 and a stop", "Begin with M5 and M0."
    ),
    "rapid-onto-face": Code(
        _E, "a rapid sets a dragging tool onto the face", "Stop the rapid above the face and feed down."
    ),
    "deeper-than-blade": Code(_E, "a knife goes deeper than its blade cuts", "Cut less deep, or take a longer blade."),
    "travel-differs": Code(_E, "a sprung point is pressed in more or less than was asked", "Write the cut anew."),
    "beyond-travel": Code(
        _E, "a sprung point is pressed in further than its spring goes, and shatters", "Press it in less."
    ),
    "diamond-fast": Code(_W, "a diamond comes down on glass faster than 300 mm/min", "Come down more slowly."),
    "plunge-as-rapid": Code(
        _E, "a dragging tool is set down as fast as a rapid", "Give a plunge= below the machine's rapid along Z."
    ),
    # stops, changes, the end
    "by-hand-no-stop": Code(
        _E,
        "the spindle is switched by hand, and no stop at the beginning says to switch it off and unplug it",
        "Begin with M0 and these words in a comment.",
    ),
    "by-hand-not-started": Code(
        _E,
        "the spindle is switched by hand, and nothing stops to switch it on again before the tool cuts",
        "Stop with M0 above the work, with the words to switch it on.",
    ),
    "stop-spinning": Code(_E, "the program stops while the spindle turns", "Give M5 and G4 before the stop."),
    "not-loaded": Code(
        _W, "a machine that changes tools by itself is not told which to put in", "Give T and M6 before cutting."
    ),
    "spindle-early": Code(_W, "the spindle runs before the first retract", "Retract, move X and Y, then start it."),
    "change-without-stop": Code(
        _E, "another tool is named and nothing stops to put it in", "Stop with M0 or M6 after lifting."
    ),
    "zero-not-again": Code(
        _E,
        "tools change inside a file, though the machine keeps no lengths and sets no zero at stops",
        "Write a file for each tool, or state zero_again_at_stop in Dialect.",
    ),
    "length-other": Code(_W, "the length of another tool is applied", "Give G43 with H as T, if this is not meant."),
    "own-length": Code(_E, "our own text applies the length of another tool", "Please report the job."),
    "stop-low": Code(_W, "a stop or change while the tool is not lifted clear", "Lift to the clearance height first."),
    "not-restated": Code(
        _W,
        "after a stop the program does not say again what holds: someone may have moved or set something",
        "State modes, S, F, X, Y and Z again after every stop.",
    ),
    "end-not-up": Code(_E, "the program ends with the tool down", "Lift to the clearance height before the end."),
    "ends-elsewhere": Code(
        _W,
        "the program ends by moving X and Y to a place that nobody stated to be clear",
        "End above the last cut, or state park= of the machine.",
    ),
    "end-no-dwell": Code(_W, "the program ends before the spindle stands still", "Dwell with G4 after M5."),
    "coolant-left-on": Code(_W, "the coolant still runs at the program's end", "Stop it with M9."),
    # words
    "block-delete": Code(
        _W,
        "lines that begin with / run or not, as a switch of the controller stands; they were taken to run",
        "Take the / away, or the line; or check the program both ways.",
    ),
    "own-block-delete": Code(_E, "our own text leaves a line to a switch", "Please report the job."),
    "arc-short": Code(
        _W, "an arc so short that rounding decides where it turns", "Write arcs under 0.02 mm or 20 steps as lines."
    ),
    "own-comment": Code(_E, "our own text holds a comment that is not plain", "Please report the job."),
    "top-unknown": Code(
        _E,
        "a cut runs beyond the measured points, where the height of the face is not known",
        "Measure out to there, or move the work in.",
    ),
    "keep-out": Code(_E, "a tool, shank or holder comes into a keep-out", "Move the clamp, or raise the clearance."),
    "own-zero-moved": Code(_E, "our own text moves the zero or goes home", "Please report the job."),
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
    "knife-aligns": Code(
        _N, "the blade is first turned into a known direction beside the part", "Keep this place free and on the card."
    ),
    "knife-detail": Code(
        _N,
        "a detail is smaller than the length of blade in the card, which tears or rounds it",
        "Take a steeper blade or thinner card, or cut less deep.",
    ),
    "knife-tears": Code(
        _W, "a blade swivels at full depth in card thicker than 0.5 mm and tears it", "Leave swivel_depth at 0.2 mm."
    ),
    "knife-backing": Code(
        _W,
        "a blade goes less than 0.1 or more than 0.2 mm into the sheet under the card",
        "Give depth=THROUGH, which takes 0.15 mm below the thickest card.",
    ),
    "deep-slot": Code(_W, "a slot one cutter wide is deeper than its chips can leave", "Widen it with slot_width=."),
    "no-lead": Code(_N, "there is no room in the waste to join a wall gently", "Leave more room beside the outline."),
    "hole-twice": Code(_N, "a hole stands in the drawing twice and is drilled once", "Take the doubles out."),
    "table-drilled": Code(
        _N, "a drill goes into what lies under the board", "Lay a sheet that may be drilled under the board."
    ),
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
    "inlay-tip": Code(_W, "a blunt tip makes sharp ridges of the plug overlap", "Take a sharper bit."),
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
    "touch-off-height": Code(
        _W,
        "tools are set to zero where the measured top is not at zero",
        "Take the height there off all measured points, or set tools at a height of 0.",
    ),
    "touch-off-moved": Code(_N, "tools are set beside the work zero", "Give touch_off=(x, y) for another spot."),
    "spring-force": Code(_N, "the force with which a sprung point presses", "Compare it with the trial's."),
    "spring-unknown": Code(
        _W, "how far a sprung point can be pressed in is not stated", "Give max_travel= to the tool."
    ),
    "tempered-glass": Code(_N, "tempered glass bursts when it is scribed", "Make sure which glass it is."),
    "slow-onto-glass": Code(_N, "a point comes down on glass more slowly than its plunge", "Give a plunge up to 300."),
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

_READ_ADVICE: dict[str, str] = {
    "line-too-long": "Break it: the standard allows 256 characters.",
    "bad-character": "Take it out, or put it into a comment.",
    "bad-line-number": "Write N and 1 to 5 digits at the beginning, or leave it out.",
    "bad-number": "Write digits after the letter, within what the machine can go.",
    "nested-comment": "Take the inner parentheses out.",
    "unclosed-comment": "Close it on its line.",
    "bad-expression": "Write it in brackets as the standard has it.",
    "bad-parameter": "Take a whole number from 1 to 5399, and = to set it.",
    "bad-arithmetic": "Look at the values it is worked out from.",
    "repeated-word": "Write one of them, or two lines.",
    "modal-conflict": "Write them on lines of their own.",
    "unknown-g": "Take it out, or say it in codes of the standard.",
    "unknown-m": "Take it out, or say it in codes of the standard.",
    "negative-word": "Write a number that is not negative.",
    "not-whole": "Write a whole number.",
    "slot-beyond": "Give a number that the tool table has.",
    "no-axis-word": "Say where to go.",
    "axis-without-g": "Put G0 or G1 before it.",
    "two-axis-users": "Write them on lines of their own.",
    "stray-word": "Take it out, or name the code that it belongs to.",
    "no-feed": "Give F before the first feed move.",
    "no-inverse-feed": "Give F on every line, or state G94.",
    "arc-end-missing": "Say where the arc ends.",
    "arc-center-missing": "Give I and J, or R.",
    "arc-format-mixed": "Give I and J, or R, not both.",
    "arc-wrong-offset": "Give the two offsets of the arc's plane.",
    "arc-radii-differ": "Write the center with one decimal more.",
    "arc-zero-radius": "Write a line.",
    "arc-no-chord": "Give a full circle by its center.",
    "arc-out-of-reach": "Give a larger radius.",
    "arc-from-unknown": "Go to a stated X, Y and Z first.",
    "dwell-without-time": "Give P in seconds.",
    "bad-offset-set": "Set zero at the machine.",
    "length-without-h": "Give H with the tool's number.",
    "bad-machine-move": "Write G53 with G0 or G1, in G90.",
    "offset-without-axis": "Set zero at the machine.",
    "bad-cycle": "Give all words of the cycle, or write its moves out.",
    "percent-unmatched": "End with %, or begin without it.",
    "no-end": "End with M2.",
    "cutter-compensation": "Write the tool's own path, and G40.",
    "not-read": "Write it as moves; what is not followed is not proved.",
    "sets-offset": "Set zero at the machine, not in the program.",
    "returns-home": "Write the place to go to, or G53 G0 Z0 on a homed machine.",
    "units-not-stated": "State G21 or G20 first.",
    "units-changed": "Keep to one unit.",
    "work-offset-changed": "Keep to one work offset.",
    "parameter-not-set": "Set it in the program.",
    "feed-from-unknown": "Go to a stated X, Y and Z first.",
    "change-without-tool": "Name the tool with T before M6.",
    "full-circle": "Look whether a full turn is meant there.",
    "after-end": "Look whether it is meant to run.",
}
"""What to do about what the reader finds."""

CODES: dict[str, Code] = {
    **{
        code: Code(read_severity(code), meaning, _READ_ADVICE.get(code, "Correct the line."))
        for code, meaning in READ_CODES.items()
    },
    **_PLAN,
    **_FIT,
    **_PROGRAM,
    **_PROOF,
}
"""Code to (severity, meaning, advice)."""


GROUPS: dict[str, dict[str, Code]] = {
    "What is planned": _PLAN,
    "What can be seen in a program": _PROGRAM,
    "What the proof compares": _PROOF,
    "What a fit is held to": _FIT,
    "What the reader finds": {code: CODES[code] for code in READ_CODES},
}
"""The table in parts, for the page of codes (docs/checks.md, written by docs/make_checks.py)."""


def finding(code: str, text: str, **more: Any) -> Finding:
    """Return a finding whose severity and, unless given, advice come from the table."""
    row = CODES[code]
    return Finding(code=code, severity=row.severity, text=text, advice=more.pop("advice", row.advice), **more)
