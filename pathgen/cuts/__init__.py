"""One file for each way of cutting: shape + tool -> tuple of Cut."""
