"""The written text cut in simulation and held against what was asked."""
