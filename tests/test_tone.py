"""Shades of grey by the distance of lines."""

import numpy as np
import pytest
import shapely
from PIL import Image

import pathgen as pg
from pathgen.errors import ArgumentError, DrawingError, MissingFileError


def flat(shade, size=(40, 20)):
    return Image.new("L", size, shade)


def spacing_of(lines, width, height):
    return width * height / lines.length


@pytest.mark.parametrize("angle", [0, 30, 45, 90])
def test_black_gets_the_near_distance_and_fills_the_picture(angle):
    lines = pg.tone(flat(0), width=80, spacing_dark=0.5, spacing_light=3, angle=angle)
    assert spacing_of(lines, 80, 40) == pytest.approx(0.5, rel=0.01)
    assert lines.bounds == pytest.approx((0, 0, 80, 40), abs=1.1)
    assert shapely.box(0, 0, 80, 40).buffer(1.0).covers(lines), "half a pixel of 2 mm at most"


@pytest.mark.parametrize(("shade", "levels"), [(0, 2), (0, 9), (64, 5), (128, 5), (200, 11)])
def test_lines_per_mm_go_with_the_darkness_to_the_nearest_level(shade, levels):
    """Lines per mm = darkness / near distance, in equal steps from 1 / far to 1 / near."""
    near, far = 0.4, 4.0
    lines = pg.tone(flat(shade, (100, 100)), width=100, spacing_dark=near, spacing_light=far, angle=0, levels=levels)
    steps = np.linspace(1 / far, 1 / near, levels)
    wanted = steps[np.argmin(np.abs(steps - (1 - shade / 255) / near))]
    assert 1 / spacing_of(lines, 100, 100) == pytest.approx(wanted, rel=0.02)
    y = np.unique(np.round(shapely.get_coordinates(lines)[:, 1], 6))
    assert np.diff(y) == pytest.approx(1 / wanted, abs=1e-5)


def test_where_lines_are_light_the_light_shades_get_them():
    half = Image.fromarray(np.repeat(np.array([[0, 255]], np.uint8), 20, axis=1).repeat(20, axis=0))
    dark = pg.tone(half, width=40, spacing_dark=0.5, spacing_light=5, angle=0)
    light = pg.tone(half, width=40, spacing_dark=5, spacing_light=0.5, angle=0)
    assert dark.bounds[2] == pytest.approx(20, abs=0.5)
    assert light.bounds[0] == pytest.approx(20, abs=0.5)
    assert dark.length == pytest.approx(light.length, rel=0.01)


def test_the_picture_stands_upright():
    top = np.full((20, 20), 255, np.uint8)
    top[:5] = 0
    _, y0, _, y1 = pg.tone(Image.fromarray(top), width=20, spacing_dark=0.5, spacing_light=5, angle=0).bounds
    assert 15 <= y0 < y1 <= 20


def test_ends_of_lines_lie_on_the_edge_of_a_shade():
    disc = np.hypot(*(np.mgrid[:200, :200] - 99.5)) < 80
    lines = pg.tone(Image.fromarray(np.where(disc, 0, 255).astype(np.uint8)), width=50, spacing_dark=0.5,
                    spacing_light=4, angle=20)  # fmt: skip
    ends = np.concatenate([np.array(g.coords)[[0, -1]] for g in lines.geoms])
    assert np.abs(np.hypot(*(ends - 25).T) - 20).max() < 0.5, "two pixels"
    assert lines.length * 0.5 == pytest.approx(np.pi * 400, rel=0.01)


def test_color_and_transparency_become_grey():
    red = Image.new("RGB", (40, 40), (255, 0, 0))
    grey = Image.new("L", (40, 40), round(0.299 * 255))  # ITU-R 601-2
    kind = {"width": 40, "spacing_dark": 0.5, "spacing_light": 4}
    assert pg.tone(red, **kind).length == pytest.approx(pg.tone(grey, **kind).length)
    with pytest.raises(DrawingError, match="bare"):
        pg.tone(Image.new("RGBA", (40, 40), (0, 0, 0, 0)), **kind)


def test_a_file_is_read_and_one_that_is_none_is_told(tmp_path):
    path = tmp_path / "leaf.png"
    flat(30).save(path)
    kind = {"width": 40, "spacing_dark": 1, "spacing_light": 4}
    assert pg.tone(path, **kind).equals(pg.tone(flat(30), **kind))
    with pytest.raises(MissingFileError):
        pg.tone(tmp_path / "none.png", **kind)
    path.write_text("no picture")
    with pytest.raises(DrawingError, match="no picture"):
        pg.tone(path, **kind)


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"width": 0}, "width"),
        ({"spacing_dark": -1}, "spacing_dark"),
        ({"spacing_dark": 4}, "equal"),
        ({"levels": 1}, "levels"),
        ({"levels": 2.5}, "levels"),
        ({"angle": None}, "angle"),
        ({"spacing_dark": 1e-5}, "too many"),
    ],
)
def test_numbers_that_cannot_be_are_refused(more, words):
    with pytest.raises(ArgumentError, match=words):
        pg.tone(flat(0), **{"width": 40, "spacing_dark": 1, "spacing_light": 4, **more})
    with pytest.raises(ArgumentError, match="neither"):
        pg.tone(7, width=40, spacing_dark=1, spacing_light=4)
