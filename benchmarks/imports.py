"""How long `import pathgen` takes, over a bare interpreter; seconds, best of several fresh processes."""

from __future__ import annotations

import subprocess
import sys
import time


def seconds(code: str, runs: int = 7) -> float:
    best = float("inf")
    for _ in range(runs):
        begin = time.perf_counter()
        subprocess.run([sys.executable, "-c", code], check=True)
        best = min(best, time.perf_counter() - begin)
    return best


def main() -> None:
    bare = seconds("pass")
    own = seconds("import pathgen")
    used = seconds("import pathgen as pg; pg.Job, pg.vgroove, pg.profile, pg.text")
    numpy = seconds("import numpy, shapely")
    print(
        f"import pathgen {own - bare:.3f} s (limit 0.15); with the main names used {used - bare:.3f} s, "
        f"of which numpy and shapely {numpy - bare:.3f} s"
    )


if __name__ == "__main__":
    main()
