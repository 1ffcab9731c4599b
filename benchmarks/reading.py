"""Reading a program back, against the plain join that could have written it.

Run from the project's root: ``python -m benchmarks.reading``. Prints the ratio; the target is 1.5 or less.
"""

import time

import numpy as np

from pathgen.motion.read import read_program

MOVES = 1_000_000
RUNS = 5


def rows(count: int = MOVES) -> list[tuple[float, float, float]]:
    """A walk of short steps, as a carved relief has them."""
    rng = np.random.default_rng(1)
    return [tuple(row) for row in np.cumsum(rng.normal(0, 0.3, (count, 3)), axis=0).tolist()]


def plain_join(points: list[tuple[float, float, float]]) -> str:
    return "\n".join("G1X%.3fY%.3fZ%.3f" % t for t in points)  # noqa: UP031  # the join that the target names


def best(function, *arguments, runs: int = RUNS):
    """Return the shortest time of some runs, in seconds, and what the last one gave."""
    shortest, result = float("inf"), None
    for _ in range(runs):
        begin = time.perf_counter()
        result = function(*arguments)
        shortest = min(shortest, time.perf_counter() - begin)
    return shortest, result


def modal(text: str) -> str:
    """The same moves as a writer with modal words and comments writes them."""
    first, *lines = text.replace("G1X", "X").split("\n")
    return f"G1{first}\n" + "\n".join(
        f"(PASS 1.{k} groove)\n{line}" if k % 50 == 0 else line for k, line in enumerate(lines)
    )


def main() -> None:
    points = rows()
    join, text = best(plain_join, points)
    for name, program in (
        ("plain join read back", text),
        ("modal words, a comment every 50 lines", modal(text)),
        ("with line numbers and blanks", "\n".join(f"N{k % 99999} {line}" for k, line in enumerate(text.split("\n")))),
    ):
        spent, motion = best(read_program, f"G21 G90 F1500\n{program}\nM2")
        assert len(motion.moves) == MOVES
        assert np.abs(motion.moves.end - np.array(points)).max() <= 0.00051
        print(f"{name}: {spent:.3f} s = {spent / join:.2f} x the plain join ({join:.3f} s) of {MOVES} moves")


if __name__ == "__main__":
    main()
