"""Run every benchmark, one after the other: ``python -m benchmarks [name ...]``; with none, all but the long ones.

Each measures itself against a raw kernel in the same run, since machines differ and are noisy: quote the ratio.
"""

from __future__ import annotations

import importlib
import subprocess
import sys
import time

QUICK = ("imports", "vgroove", "pocket", "writing", "reading", "timing", "arcs", "proving")


def main() -> None:
    for name in sys.argv[1:] or QUICK:
        print(f"\n== {name}", flush=True)
        begin = time.perf_counter()
        importlib.import_module(f"benchmarks.{name}").main()
        print(f"   ({time.perf_counter() - begin:.0f} s)", flush=True)


if __name__ == "__main__":
    print(sys.version.split()[0], subprocess.run(["uname", "-m"], capture_output=True, text=True).stdout.strip())
    main()
