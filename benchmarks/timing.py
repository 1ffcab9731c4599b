"""The time estimate of a program, against the plain join that could have written it.

Run from the project's root: ``python -m benchmarks.timing``. Prints the ratio; the target is 0.5 or less.
"""

from benchmarks.reading import MOVES, best, plain_join, rows
from pathgen.model.machine import Machine
from pathgen.motion.read import read_program
from pathgen.motion.time import time


def main() -> None:
    join, text = best(plain_join, rows())
    motion = read_program(f"G21 G90 F1500 G0 X0 Y0 Z0\n{text}\nM2")
    for name, accel in (("one acceleration", 500), ("an acceleration for each axis", (500, 400, 250))):
        machine = Machine(travel=(600, 400, 90), max_feed=3000, acceleration=accel, max_rpm=24000)
        spent, result = best(time, motion, machine)
        assert len(result.moves) == MOVES + 1
        print(f"{name}: {spent:.3f} s = {spent / join:.2f} x the plain join ({join:.3f} s) of {MOVES} moves; {result}")


if __name__ == "__main__":
    main()
