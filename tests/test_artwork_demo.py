"""The project's own drawings, and an independent renderer's view of them."""

import csv
import io
import subprocess
import sys

import numpy as np
import pytest
import shapely

import pathgen as pg
from pathgen.artwork import repair


@pytest.fixture
def shared(pytestconfig):
    return pytestconfig.rootpath / "shared"


def test_the_fern_sign_has_its_layers_and_size(shared):
    art = pg.read(shared / "fern-sign.svg")
    assert list(art.layers) == ["outline", "border", "leaf", "letters"]
    assert art.size == pytest.approx((280, 120))
    assert not art.units_guessed
    assert len(art["letters"].region.geoms) == 8
    assert art["border"].region.geoms[0].interiors
    assert art["outline"].region.is_empty
    assert art["outline"].outlines.area == pytest.approx(279 * 119 - (4 - np.pi) * 81, abs=0.2)
    assert {n.code for n in art.notes} == {"units", "closed-strokes", "size"}


def test_the_trail_sign_has_veins_as_holes_and_water_as_lines(shared):
    art = pg.read(shared / "trail-sign.svg")
    assert len(art["leaf"].region.geoms[0].interiors) == 8
    assert art["water"].region.is_empty
    assert len(art["water"].lines.geoms) == 2
    assert any(n.code == "white-paint" for n in art.notes)


def test_the_bench_parts_are_whole(shared):
    art = pg.read(shared / "bench-parts.dxf")
    assert list(art.layers) == ["OUTLINE", "HOLES", "ENGRAVE"]
    assert len(art["OUTLINE"].region.geoms) == 4
    assert len(art["HOLES"].region.geoms) == 9
    mortise = 40 * 12 + np.pi * 36
    assert art["HOLES"].region.area == pytest.approx(3 * mortise + np.pi * 36 + 5 * np.pi * 16, abs=1)
    assert art["OUTLINE"].region.contains(art["HOLES"].region)
    assert len(art["ENGRAVE"].lines.geoms) == 1
    assert any(n.layer == "NOTES" for n in art.notes)


def test_there_are_ten_bed_markers(shared):
    with open(shared / "garden-names.csv", encoding="utf-8", newline="") as rows:
        names = list(csv.DictReader(rows))
    assert len(names) == 10
    assert all(row["name"] and row["latin"] for row in names)


@pytest.mark.parametrize("name", ["fern-sign.svg", "trail-sign.svg", "bench-parts.dxf"])
def test_every_part_is_in_normal_form(shared, name):
    art = pg.read(shared / name)
    for region in (art.region, art.outlines, *(x.region for x in art.layers.values())):
        assert repair.check(region) == ()


def test_the_script_that_draws_them_draws_the_same(shared, tmp_path):
    script = tmp_path / "make.py"
    script.write_text((shared / "make_demo_drawings.py").read_text(encoding="utf-8"), encoding="utf-8")
    subprocess.run([sys.executable, script], check=True)
    for name in ("fern-sign.svg", "trail-sign.svg"):
        assert (tmp_path / name).read_bytes() == (shared / name).read_bytes()
    ours, theirs = pg.read(shared / "bench-parts.dxf"), pg.read(tmp_path / "bench-parts.dxf")
    assert ours.region.equals(theirs.region)


@pytest.mark.parametrize("name", ["fern-sign.svg", "trail-sign.svg"])
def test_the_silhouette_is_that_of_an_independent_renderer(shared, name):
    """resvg draws the same file; where it puts paint other than white, the region is."""
    import resvg_py
    from skimage.io import imread

    art = pg.read(shared / name, strokes="outline")
    # Eight pixels to a mm, stated in px: the renderer rounds a page in mm to whole pixels before it scales.
    text = (shared / name).read_text(encoding="utf-8")
    w, h = map(round, art.size)
    text = text.replace(f'width="{w}mm" height="{h}mm"', f'width="{8 * w}" height="{8 * h}"')
    png = bytes(resvg_py.svg_to_bytes(svg_string=text, dpi=96))
    image = imread(io.BytesIO(png)).astype(float)
    high, wide = image.shape[:2]
    assert (wide, high) == (8 * w, 8 * h)
    alpha = image[..., 3] / 255
    ink = (alpha > 0.5) & ((image[..., :3] * alpha[..., None] + 255 * (1 - alpha[..., None])).min(axis=2) < 235)
    x = (np.arange(wide) + 0.5) * art.size[0] / wide
    y = art.size[1] - (np.arange(high) + 0.5) * art.size[1] / high
    shapely.prepare(art.region)
    ours = shapely.contains_xy(art.region, *np.meshgrid(x, y))
    assert ink.mean() > 0.1
    assert (ink & ours).sum() / (ink | ours).sum() > 0.98
    # Away from edges, where half-covered pixels may fall to either side, there is no difference at all.
    row, column = np.nonzero(ink != ours)
    assert shapely.distance(shapely.points(x[column], y[row]), art.region.boundary).max() < 1.5 / 8
