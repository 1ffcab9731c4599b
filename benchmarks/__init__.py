"""Ratios against raw kernels measured in the same run. `python -m benchmarks` prints the table."""
