"""The shortest open walk over all edges, against networkx' matching; and on the axes of real letters."""

import itertools
import random

import networkx as nx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import pathgen as pg
from pathgen.errors import ArgumentError
from pathgen.shape.chains import chains
from pathgen.shape.medial import medial_axis
from pathgen.shape.route import EXACT, open_walk


def shortest(ends, weights):
    """Length of the shortest open walk over all edges: a least matching of odd nodes, two of them left free."""
    graph = nx.MultiGraph()
    for (a, b), w in zip(ends, weights, strict=True):
        graph.add_edge(a, b, weight=w)
    odd = sorted(n for n in graph if graph.degree(n) % 2)
    if not odd:
        return sum(weights)
    way = {n: nx.single_source_dijkstra_path_length(graph, n) for n in odd}
    pairs = nx.Graph()
    for a, b in itertools.combinations(odd, 2):
        pairs.add_edge(a, b, weight=way[a][b])
    for a in odd:
        pairs.add_edge(a, "start", weight=0.0)
        pairs.add_edge(a, "end", weight=0.0)
    return sum(weights) + sum(pairs[a][b]["weight"] for a, b in nx.min_weight_matching(pairs))


def walked(ends, weights, **options):
    """Length of our walk, after checking that it is one: joined up, every edge once and the rest said to be again."""
    steps = open_walk(ends, weights, **options)
    at = None
    seen = set()
    for s in steps:
        a, b = ends[s.edge] if s.forward else ends[s.edge][::-1]
        assert at is None or a == at
        assert s.again == (s.edge in seen)
        seen.add(s.edge)
        at = b
    assert seen == set(range(len(ends)))
    return sum(weights[s.edge] for s in steps)


@st.composite
def graphs(draw):
    n = draw(st.integers(2, 14))
    ends = [(draw(st.integers(0, k - 1)), k) for k in range(1, n)]
    node = st.integers(0, n - 1)
    ends += draw(st.lists(st.tuples(node, node), max_size=EXACT))
    weights = [draw(st.floats(0.01, 10)) for _ in ends]
    return ends, weights


@settings(deadline=None, max_examples=80, derandomize=True)
@given(graphs())
def test_no_walk_is_shorter_where_few_edges_lie_beyond_a_tree(graph):
    ends, weights = graph
    assert walked(ends, weights) == pytest.approx(shortest(ends, weights), abs=1e-6)


def test_a_tree_costs_twice_its_length_less_its_longest_path():
    ends = [(0, 1), (1, 2), (1, 3), (3, 4), (3, 5)]
    weights = [5.0, 4.0, 2.0, 1.0, 6.0]
    assert walked(ends, weights) == pytest.approx(2 * 18 - (5 + 2 + 6))


def test_an_eight_and_a_theta_are_walked_without_a_step_twice():
    eight = [(0, 1), (1, 2), (2, 0), (0, 3), (3, 4), (4, 0)]
    theta = [(0, 1), (0, 1), (0, 1)]
    assert walked(eight, [1.0] * 6) == 6
    assert walked(theta, [1.0, 2.0, 3.0]) == 6
    assert walked([(7, 7)], [3.0]) == 3


@pytest.mark.parametrize("size", [5, 8])
def test_nets_with_many_holes_come_within_five_percent(size):
    rng = random.Random(3)
    cell = [(i * size + j) for i in range(size) for j in range(size)]
    ends = [(c, c + 1) for c in cell if (c + 1) % size] + [(c, c + size) for c in cell if c + size < size * size]
    weights = [rng.uniform(0.5, 1.5) for _ in ends]
    best = shortest(ends, weights)
    assert best > sum(weights)
    assert walked(ends, weights) <= 1.05 * best


def test_tangles_of_ten_rings_come_within_ten_percent():
    rng = random.Random(5)
    for _ in range(30):
        n = rng.randint(6, 16)
        ends = [(rng.randrange(k), k) for k in range(1, n)]
        ends += [(rng.randrange(n), rng.randrange(n)) for _ in range(12)]
        weights = [rng.uniform(0.1, 10) for _ in ends]
        assert walked(ends, weights) <= 1.10 * shortest(ends, weights)


def test_the_walk_starts_at_a_wished_node_where_that_costs_nothing():
    ends, weights = [(0, 1), (1, 2), (1, 3)], [5.0, 4.0, 1.0]
    for wish in (0, 2):
        first = open_walk(ends, weights, start=[wish])[0]
        assert (ends[first.edge][0] if first.forward else ends[first.edge][1]) == wish


def test_a_graph_in_two_pieces_is_refused_and_none_gives_no_steps():
    with pytest.raises(ArgumentError, match="hang together"):
        open_walk([(0, 1), (2, 3)], [1, 1])
    assert open_walk([], []) == []


@pytest.mark.parametrize("font", ["serif", "sans"])
def test_letters_are_walked_within_five_percent_of_the_shortest_way(font):
    """The axis of each letter as chains, against the least matching over the same chains."""
    axis = medial_axis(pg.text("Rampion & B8 gQ%", height=40, font=font).region, tolerance=0.004)
    c = chains(axis.nodes, axis.edges)
    length = c.lengths()
    assert c.piece.max() >= 12
    for piece in range(int(c.piece.max()) + 1):
        mine = np.flatnonzero(c.piece == piece)
        ends, weights = [tuple(c.ends[k].tolist()) for k in mine], length[mine].tolist()
        assert walked(ends, weights) <= 1.0001 * shortest(ends, weights) + 1e-9
