"""Lines joined where they meet: fewest runs, nothing lost, nothing twice."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, MultiLineString

from pathgen.shape.joined import joined


def test_a_square_of_four_lines_is_one_closed_line():
    square = MultiLineString([[(0, 0), (9, 0)], [(9, 9), (9, 0)], [(9, 9), (0, 9)], [(0, 0), (0, 9)]])
    (ring,) = joined(square)
    assert len(ring) == 5
    assert (ring[0] == ring[-1]).all()


def test_at_a_crossing_lines_go_straight_on():
    spokes = MultiLineString([[(5, 5), p] for p in [(0, 5), (10, 5), (5, 0), (5, 10)]])
    lines = [LineString(xy) for xy in joined(spokes)]
    assert len(lines) == 2
    assert all(line.length == 10 and len(set(zip(*line.coords, strict=True))) == 2 for line in lines)
    assert all(min(np.ptp(np.array(line.coords), axis=0)) == 0 for line in lines)


def test_ends_meet_within_a_tenth_of_a_micrometre_not_further():
    assert len(joined(MultiLineString([[(0, 0), (5, 0)], [(5.00002, 0), (9, 3)]]))) == 1
    assert len(joined(MultiLineString([[(0, 0), (5, 0)], [(5.002, 0), (9, 3)]]))) == 2


def test_lines_without_length_are_left_out_and_rings_kept():
    shapes = MultiLineString([[(1, 1), (1, 1)], [(0, 0), (4, 0), (2, 3), (0, 0)]])
    (ring,) = joined(shapes)
    assert len(ring) == 4


@settings(deadline=None, max_examples=100)
@given(
    st.lists(st.tuples(st.integers(0, 4), st.integers(0, 4), st.integers(0, 3)), min_size=1, max_size=25, unique=True)
)
def test_everything_is_drawn_once_and_odd_places_alone_end_lines(edges):
    """Fewest runs over a connected graph: half its odd nodes, or one (Euler); loops apart may add to that."""
    steps = [(1, 0), (0, 1), (1, 1), (-1, 1)]
    lines = MultiLineString([[(x, y), (x + steps[k][0], y + steps[k][1])] for x, y, k in edges])
    runs = joined(lines)
    assert sum(LineString(r).length for r in runs) == pytest.approx(lines.length)
    assert shapely.union_all([LineString(r) for r in runs]).symmetric_difference(shapely.union_all(lines)).length < 1e-9
    ends = shapely.get_coordinates(shapely.get_parts(lines)).tolist()
    odd = sum(ends.count(p) % 2 for p in [list(p) for p in {tuple(e) for e in ends}])
    open_runs = [r for r in runs if (r[0] != r[-1]).any()]
    assert len(open_runs) <= odd // 2
    assert len(runs) - len(open_runs) <= len(edges) // 2
