"""The full counts that the tests only sample: ``python -m benchmarks.long`` (about fifteen minutes).

A million random arcs in each dialect against the radius limits of NISTIR 6556, and a hundred thousand random and
damaged texts through both routes of the reader; ten thousand random jobs that mix spinning and dragging tools, and how
far the tip of a trailing knife is off its lines.
"""

from __future__ import annotations

import sys

from benchmarks import dragging, long_reading, writing


def main() -> None:
    """Run them all, one table after the other."""
    sys.argv = [sys.argv[0]]
    writing.main(1_000_000)
    long_reading.main()
    dragging.main()


if __name__ == "__main__":
    main()
