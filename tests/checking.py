"""Program checks alone, without cutting anything in simulation: for tests of one check after the other."""

import pathgen as pg
from pathgen.motion.read import read_program
from pathgen.proof.checks import Setting, program_findings
from pathgen.proof.codes import CODES
from pathgen.proof.strokes import strokes_of, track_of

BOARD = pg.Stock(120, 80, 30, material="hardwood")
ROUTER = pg.Machine(travel=(600, 400, 90), max_feed=6000, acceleration=500, max_rpm=24000)
MILL = pg.EndMill(6, flutes=1)

HEAD = "(Tool T{tool})\nG21 G17 G90 G94 G40 G80 G54\nG61\nM5\n{stop}G0 Z5\n"
START = "S16000 M3\nG4 P3\n"
TAIL = "G0 Z5\nM5\nM9\nG4 P5\nM2\n"


def program(body, *, start=START, tool=2, stop="", tail=TAIL):
    """A whole program around a body that begins at the clearance height."""
    return HEAD.format(tool=tool, stop=stop) + "G0 X20 Y20\n" + start + body + tail


def checked(texts, **more):
    """All findings of the program checks on these texts."""
    texts = [texts] if isinstance(texts, str) else list(texts)
    given = {"tools": {2: MILL}, "stock": BOARD, "machine": ROUTER, "clearance": 5.0, **more}
    motions = [read_program(text) for text in texts]
    track = track_of(motions, given["tools"], given["stock"])
    return program_findings(Setting(texts=texts, motions=motions, track=track, strokes=strokes_of(track), **given))


def only(code, texts, **more):
    """The findings of one code; all of them have the severity and the advice that a maker is owed."""
    found = [f for f in checked(texts, **more) if f.code == code]
    for f in found:
        assert f.severity == CODES[code].severity
        assert f.text.endswith(".")
        assert f.advice
    return found


def codes(texts, **more):
    """The codes found."""
    return {f.code for f in checked(texts, **more)}
