"""Curves and path data: exact until flattened, within the tolerance after any matrix."""

import math
import warnings

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from pathgen.artwork import pathdata
from pathgen.artwork.curves import NotFiniteError, Pen, ellipse, endpoint_arc, matrix, stretch
from pathgen.artwork.pathdata import parse

TOLERANCE = 0.002
EIGHTHS = st.integers(-24, 24).map(lambda n: n / 8)  # no denormals: they say nothing about curves


def distance(points, line):
    return shapely.distance(shapely.points(points), shapely.linestrings(line)).max()


def fan(pen_moves):
    pen = Pen(0j)
    pen_moves(pen)
    return pen.done(closed=False)


@pytest.mark.parametrize("radius", [0.05, 1.0, 7.3, 50.0, 500.0, 2000.0])
def test_a_circle_keeps_its_sagitta(radius):
    """Closed form: the chord's middle lies r (1 - cos(step / 2)) inside; all vertices lie on the circle."""
    points = ellipse(3, -2, radius, radius).flat(TOLERANCE)
    center = np.array([3, -2])
    assert np.abs(np.linalg.norm(points - center, axis=1) - radius).max() < 1e-9 * max(radius, 1)
    middle = 0.5 * (points[1:] + points[:-1])
    assert 0 < radius - np.linalg.norm(middle - center, axis=1).min() <= TOLERANCE
    n = len(points) - 1
    ring = shapely.Polygon(points)
    assert ring.area == pytest.approx(0.5 * n * math.sin(2 * math.pi / n) * radius**2, rel=1e-9)
    assert abs(math.pi * radius**2 - ring.area) <= TOLERANCE * 2 * math.pi * radius


def test_a_finer_tolerance_needs_about_its_square_root_more_chords():
    coarse, fine = (len(ellipse(0, 0, 100, 100).flat(t)) for t in (0.02, 0.002))
    assert 2.8 < fine / coarse < 3.5


@settings(deadline=None, max_examples=80)
@given(
    st.lists(st.integers(-400, 400).map(lambda n: n / 4), min_size=6, max_size=6),
    st.lists(EIGHTHS, min_size=6, max_size=6),
)
def test_a_cubic_is_met_within_the_tolerance_after_its_matrix(p, m):
    """True points by de Casteljau (from memory), moved afterwards."""
    c1, c2, end = complex(*p[:2]), complex(*p[2:4]), complex(*p[4:])
    curve = fan(lambda pen: pen.cubic(c1, c2, end))
    line = curve.moved(matrix(*m)).flat(TOLERANCE)
    t = np.linspace(0, 1, 700)
    a, b, c = t * c1, (1 - t) * c1 + t * c2, (1 - t) * c2 + t * end
    a, b = (1 - t) * a + t * b, (1 - t) * b + t * c
    true = (1 - t) * a + t * b
    true = np.stack([true.real, true.imag], 1) @ matrix(*m)[:2, :2].T + matrix(*m)[:2, 2]
    assert distance(true, line) <= TOLERANCE + 1e-9


def test_a_quadratic_is_the_cubic_it_equals():
    """Degree raising, closed form: the middle of a quadratic is (a + 2 c + b) / 4."""
    line = fan(lambda pen: pen.quadratic(10 + 20j, 20 + 0j)).flat(1e-4)
    assert distance([[10, 10]], line) < 1e-4
    assert line[:, 1].max() == pytest.approx(10, abs=1e-4)


@settings(deadline=None, max_examples=120)
@given(
    st.floats(0.5, 60),
    st.floats(0.5, 60),
    st.floats(-180, 180),
    st.booleans(),
    st.booleans(),
    st.complex_numbers(min_magnitude=0.5, max_magnitude=80),
    st.lists(EIGHTHS, min_size=6, max_size=6),
)
def test_an_elliptical_arc_follows_the_implicit_ellipse_and_its_flags(rx, ry, turn, large, sweep, end, m):
    """SVG 1.1 appendix F.6: on the ellipse of the given radii (scaled up where too small), by the flags."""
    pen = Pen(0j)
    endpoint_arc(pen, rx, ry, turn, large, sweep, end)
    curve = pen.done(closed=False)
    points = curve.flat(1e-3)
    z = points[:, 0] + 1j * points[:, 1]
    assert abs(z[0]) < 1e-9
    assert abs(z[-1] - end) < 1e-7
    # In the ellipse's own frame, scaled to a unit circle, all points have one distance from one center.
    w = z * np.exp(-1j * math.radians(turn))
    w = w.real / rx + 1j * w.imag / ry
    half = abs(w[-1] - w[0]) / 2
    scale = max(half, 1.0)
    row = curve.rows[0]
    center = (row[0] + 1j * row[1]) * np.exp(-1j * math.radians(turn))
    center = center.real / rx + 1j * center.imag / ry
    assert np.abs(np.abs(w - center) - scale).max() < 1e-6
    sweep_angle = row[7]
    assert (sweep_angle > 0) == sweep
    if half < 0.999:
        assert (abs(sweep_angle) > math.pi) == large
    moved = curve.moved(matrix(*m))
    angle = row[6] + row[7] * np.linspace(0, 1, 500)
    true = row[:2] + np.stack([np.cos(angle), np.sin(angle)], 1) @ row[2:6].reshape(2, 2).T
    true = true @ matrix(*m)[:2, :2].T + matrix(*m)[:2, 2]
    assert distance(true, moved.flat(TOLERANCE)) <= TOLERANCE + 1e-9


def test_a_turned_arc_under_uneven_scale_and_mirror_stays_on_its_curve():
    """Named row: `A10 5 30 0 1 8 4` under scale(2, 1) was off by 1.0 units and under scale(-1, 1) by 2.85 when the
    matrix was applied to the arc's parameters by a common library."""
    subs, _ = parse("M0 0A10 5 30 0 1 8 4")
    plain = subs[0].flat(1e-4)
    for m in (matrix(2, 0, 0, 1, 0, 0), matrix(-1, 0, 0, 1, 0, 0), matrix(0, 1, 1, 0, 0, 0), matrix(1, 2, 2, 1, 0, 0)):
        moved = subs[0].moved(m).flat(TOLERANCE)
        assert distance(plain @ m[:2, :2].T, moved) <= TOLERANCE + 1e-4 * stretch(m)


def test_a_near_half_circle_keeps_its_true_center():
    """Closed form: half chord 1000, center 0.09 off the chord: the sagitta is r -+ 0.09, not r."""
    radius = math.hypot(1000, 0.09)
    for large, expected in ((False, radius - 0.09), (True, radius + 0.09)):
        pen = Pen(-1000 + 0j)
        endpoint_arc(pen, radius, radius, 0, large, True, 1000 + 0j)
        points = pen.done(closed=False).flat(1e-4)
        assert np.abs(points[:, 1]).max() == pytest.approx(expected, abs=2e-4)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("M0 0a1 1 0 0110 0", [(0, 0), (10, 0)]),  # packed flags
        ("M1 1h4v4zl-1-1", [(1, 1), (5, 1), (5, 5)]),  # relative after z: see below for the second subpath
        ("M0 0L1.5.5", [(0, 0), (1.5, 0.5)]),  # numbers need no separator
        ("M0,0L1e1-2E0", [(0, 0), (10, -2)]),
        ("M0 0A0 5 0 0 1 8 4", [(0, 0), (8, 4)]),  # a radius of 0 is a line: F.6.2
        ("m3 4 5 0 0 5", [(3, 4), (8, 4), (8, 9)]),  # more pairs after a move are lines: 8.3.2
        ("M0 0 5 0 5 5", [(0, 0), (5, 0), (5, 5)]),
        ("M0 0T10 0", [(0, 0), (10, 0)]),  # no control point to reflect
        ("M 0 0 L 5 5 L 5 5", [(0, 0), (5, 5), (5, 5)]),
    ],
)
def test_path_grammar(text, expected):
    """SVG 1.1 sections 8.3 and F.2."""
    subs, error = parse(text)
    assert error is None
    points = subs[0].flat(10)
    corners = [subs[0].start, *[points[int(k)] for k in np.cumsum(subs[0].counts(10))]]
    assert np.allclose(corners, expected)


def test_a_path_goes_on_from_the_start_after_it_was_closed():
    """SVG 1.1 section 8.3.3: after z the next subpath starts at the same point."""
    subs, _ = parse("M1 1h4v4zl-1-1M7 7l1 0")
    assert [s.closed for s in subs] == [True, False, False]
    assert subs[1].start.tolist() == [1, 1]
    assert subs[1].flat(1)[-1].tolist() == [0, 0]
    assert subs[2].start.tolist() == [7, 7]


def test_touching_subpaths_stay_apart_and_dots_are_kept():
    """Named row: subpaths that touch were merged, and `M5 5z` lost, by a common library."""
    subs, _ = parse("M0 0H10V10Z M0 0H-10V-10Z M5 5z")
    assert [len(s.rows) for s in subs] == [2, 2, 0]
    assert all(s.closed for s in subs)


@pytest.mark.parametrize(
    ("text", "segments"),
    [
        ("M0 0L10 10L5", 1),
        ("M0 0L10 10 L 5 L 6 6", 1),
        ("M0 0L10 10foo", 1),
        ("M0 0L10 10 20px 5", 1),
        ("L10 10", 0),
        ("M0 0L5 5,,6 6", 1),
        ("M0 0a1 1 0 2 1 5 5", 0),
        ("M0 0L5 5z 6 6", 1),
    ],
)
def test_a_broken_path_is_drawn_up_to_its_error(text, segments):
    """SVG 1.1 section F.2: up to (not including) the segment with the first error."""
    subs, error = parse(text)
    assert error
    assert sum(len(s.rows) for s in subs) == segments


@pytest.mark.parametrize("text", ["M0 0L1e999 3", "M0 0LNaN 3", "M0 0L3 inf", "M1e308 0h1e308h1e308"])
def test_coordinates_that_are_no_numbers_are_refused(text):
    with pytest.raises(NotFiniteError):
        parse(text)


def test_an_arc_to_where_it_starts_is_left_out_and_negative_radii_count_as_positive():
    """SVG 1.1 section F.6.2."""
    subs, error = parse("M5 5A5 5 0 1 1 5 5L6 6")
    assert (len(subs[0].rows), error) == (1, None)
    subs, error = parse("M0 0A5 5 0 1 1 1e-20 0L6 6")
    assert np.isfinite(subs[0].flat(0.01)).all()
    a, b = (parse(f"M0 0A{r} 5 0 0 1 8 0")[0][0].flat(1e-3) for r in (-5, 5))
    assert np.allclose(a, b)


LETTERS = st.sampled_from("MmLlHhVvCcSsQqTtAaZz")
COUNT = {"M": 2, "L": 2, "H": 1, "V": 1, "C": 6, "S": 4, "Q": 4, "T": 2, "A": 7, "Z": 0}


@settings(deadline=None, max_examples=80)
@given(st.data())
def test_any_path_goes_where_an_independent_parser_goes(data):
    """Against svgpathtools (arcs only circular, well away from its known faults at half circles)."""
    import svgpathtools

    text = "M1 2"
    number = st.integers(-40, 40).map(lambda n: n / 2)
    for letter in data.draw(st.lists(LETTERS, min_size=1, max_size=9)):
        v = [data.draw(number) for _ in range(COUNT[letter.upper()])]
        if letter in "Aa":
            v = [60.0, 60.0, 0.0, 0, int(v[4] > 0), v[5] + 0.25, v[6]]
            letter = "a"
        text += letter + " ".join(map(str, v))
    subs, error = parse(text)
    assert error is None
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        theirs = [s for s in svgpathtools.parse_path(text) if s.start != s.end or type(s).__name__ != "Line"]
    ours = np.concatenate(
        [np.concatenate([s.flat(1e-3), s.flat(1e-3)[:1]] if s.closed else [s.flat(1e-3)]) for s in subs]
    )
    for segment in theirs:
        for t in (0.0, 0.31, 0.77, 1.0):
            z = segment.point(t)
            lines = [np.concatenate([s.flat(1e-3), s.flat(1e-3)[:1]]) if s.closed else s.flat(1e-3) for s in subs]
            near = min(
                shapely.Point(z.real, z.imag).distance(shapely.LineString(x) if len(x) > 1 else shapely.Point(x[0]))
                for x in lines
            )
            assert near < 2e-3, (text, segment)
    assert np.isfinite(ours).all()


def test_the_lexer_never_hands_an_arc_to_the_library():
    """Its arcs raise, warn or lose accuracy; a line stands in for each of them."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        for text in ("M0 0A0 0 0 0 0 5 5", "M0 0A5 5 0 0 0 10 0", "M0 0a1e-9 1 30 1 1 3 3"):
            assert pathdata.parse(text)[1] is None
