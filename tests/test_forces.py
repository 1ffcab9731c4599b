"""What a cutter pushes with, and what bridges and hold-downs bear: by hand from the formulas."""

import dataclasses
import math

import handmade
import numpy as np
import pytest
from handmade import BOARD, settings
from shapely.geometry import box
from test_pieces import loop, setting, text

import pathgen as pg
from pathgen.model.stock import MATERIALS
from pathgen.proof.forces import ACROSS, FRICTION, SCREW, bearing, forces
from pathgen.proof.prove import prove
from pathgen.shop.strength import DULL, SAFETY, strength

WATCHED = {"bridge-weak", "hold-weak", "hold-slight", "one-screw", "loose-piece"}
RING = text(*loop(27, 27, 53, 53, step=4))


def expected(depth, *, feed=900, rpm=16000, flutes=handmade.MILL.flutes, energy=0.030):
    """Force along the way of the edges, N: U(h) x depth x chip, dull."""
    chip = feed / (rpm * flutes)
    return DULL * 1000 * energy * (0.25 / chip) ** 0.3 * chip * depth


def found(program, *, stock=BOARD, tool=handmade.MILL, **more):
    proof = prove([program], **settings(bounds=None, own=False, grid=0.3, stock=stock, tools={2: tool}, **more))
    return {f.code: f for f in proof.findings if f.code in WATCHED}


def test_the_force_is_energy_times_chip_section():
    """Levels of 4, 4 and 4.4 mm: each is what its edges find standing below the level above."""
    assert expected(4, flutes=2) == pytest.approx(8.127, abs=0.002), "worked out by hand"
    s = setting([RING])
    side, lift = forces(s)
    level = ~s.strokes.rapid & (np.abs(s.strokes.a[:, 2] - s.strokes.b[:, 2]) < 1e-9) & (s.strokes.lowest < 0)
    depth = {-4.0: 4.0, -8.0: 4.0, -12.4: 4.4}
    for z, ap in depth.items():
        # F500 of the plunge holds until the next word F
        rows = level & np.isclose(s.strokes.lowest, z) & np.isclose(s.track.feed[s.strokes.move], 900)
        assert rows.any()
        assert side[rows] == pytest.approx(expected(ap) * math.hypot(1, ACROSS), rel=1e-6)
        assert lift[rows] == pytest.approx(expected(ap) * math.tan(math.radians(30)), rel=1e-6)
    assert (side[s.strokes.rapid] == 0).all()


def test_a_down_spiral_lifts_nothing_and_more_edges_share_the_feed():
    down = dataclasses.replace(handmade.MILL, spiral="down")
    four = dataclasses.replace(handmade.MILL, flutes=4)
    plain, _ = forces(setting([RING], tools={2: dataclasses.replace(handmade.MILL, flutes=2)}))
    assert forces(setting([RING], tools={2: down}))[1].max() == 0
    side, _ = forces(setting([RING], tools={2: four}))
    # half the chip each, two edges in the cut: 2 x 0.5 x 0.5^-0.3
    assert side.max() / plain.max() == pytest.approx(0.5**-0.3, rel=1e-6)


def test_thin_chips_are_dear():
    """U(h) = U(0.25) x (0.25 / h)^0.3: Groover's 0.8 J/mm3 for aluminium at 0.25 mm."""
    aluminium = strength("aluminium")
    assert aluminium.chip_energy(0.25) == pytest.approx(0.8)
    assert aluminium.chip_energy(0.025) == pytest.approx(0.8 * 10**0.3)
    assert math.isnan(strength("glass").chip_energy(0.1))


def test_every_material_has_figures_that_make_sense():
    for name in MATERIALS:
        figures = strength(name)
        assert 0.02 < figures.density < 9
        assert figures.wall <= figures.wall_across
        assert figures.shear > 0
        assert figures.slender >= 2
        assert figures.energy is None or 0.001 < figures.energy < 3
    with pytest.raises(pg.ArgumentError, match="'hardwood'"):
        strength("oak")


def test_hold_downs_bear_by_area_pressure_and_count():
    piece = box(0, 0, 100, 50)
    assert bearing([pg.Tape(box(0, 0, 50, 50), shear=0.2)], piece, 30) == pytest.approx((500, 500))
    # 60 kPa on 2500 mm2 are 150 N; what the cutter lifts is missing from friction
    side, up = bearing([pg.Vacuum(box(0, 0, 50, 50), pressure=60)], piece, 30)
    assert (side, up) == pytest.approx((FRICTION * 120, 150))
    assert bearing([pg.Screws([(10, 10), (90, 40), (200, 10)])], piece, 0) == (2 * SCREW, 2 * SCREW)
    both = [pg.Tape(box(0, 0, 10, 10), shear=0.2), pg.Vacuum(box(0, 0, 50, 50), pressure=60)]
    assert bearing(both, piece, 30) == pytest.approx((20 + FRICTION * 140, 170))


def test_a_stated_hold_down_must_bear_twice_the_force():
    """The last level takes 4.4 mm: tape of just 2, 1.5 and 0.5 times the force is right, slight and weak."""
    need = expected(4.4) * math.hypot(1, ACROSS)
    area = 20.0 * 20.0
    for share, code, severity in ((2.05, None, None), (1.5, "hold-slight", "warning"), (0.5, "hold-weak", "error")):
        told = found(RING, hold=[pg.Tape(box(20, 20, 60, 60), shear=share * need / area)])
        told.pop("loose-piece", None)
        # the frame lies on the same tape, on a larger area
        piece = [f for f in told.values() if "20.0 x 20.0" in f.text]
        assert [f.code for f in piece] == ([] if code is None else [code])
        if code is not None:
            assert piece[0].severity == severity
            assert piece[0].amount == pytest.approx(share, abs=0.01)
            assert f"{SAFETY:g} times that is asked" in piece[0].text
            assert piece[0].line is not None


def test_a_vacuum_loses_hold_to_an_up_spiral_that_a_down_spiral_leaves():
    """60 kPa on 400 mm2 are 24 N: 7.2 N of friction hold no such push; a large sealed area does."""
    small = found(RING, hold=[pg.Vacuum(box(30, 30, 50, 50), pressure=60)])
    assert small["hold-weak"].severity == "error"
    big = text(*loop(7, 7, 113, 73, step=2))
    assert found(big, hold=[pg.Vacuum(box(10, 10, 110, 70), pressure=60)]) == {}
    slight = found(text(*loop(7, 7, 113, 73, step=4)), hold=[pg.Vacuum(box(35, 35, 65, 55), pressure=90)])
    down = dataclasses.replace(handmade.MILL, spiral="down")
    easier = found(text(*loop(7, 7, 113, 73, step=4)), tool=down, hold=[pg.Vacuum(box(35, 35, 65, 55), pressure=90)])
    assert slight
    assert min(f.amount for f in easier.values()) > min(f.amount for f in slight.values())


def test_a_single_screw_lets_a_piece_turn():
    assert set(found(RING, hold=[pg.Screws([(40, 40)])])) == {"one-screw"}
    assert found(RING, hold=[pg.Screws([(36, 36), (44, 44)])]) == {}


def test_the_frame_is_checked_on_its_own_hold_down_only():
    pocket = text("G0 X30 Y30", "G0 Z1", "G1 Z-4 F500", "X60 F1800")
    assert found(pocket) == {}
    assert "hold-weak" in found(pocket, hold=[pg.Tape(box(0, 0, 10, 10), shear=0.1)])
    assert found(pocket, hold=[pg.Tape(box(0, 0, 100, 60), shear=0.1)]) == {}


def test_weak_bridges_are_told_with_their_section_and_the_force():
    """1 x 0.3 mm of hardwood bear 2.4 N; the last level pushes with 16 N."""
    lifts = [(k, 10, 17) for k in range(4)]
    thin = text(*loop(17, 17, 83, 53, lifts=lifts, top=-11.5, step=4))
    weak = found(thin)["bridge-weak"]
    assert weak.severity == "warning"
    push = expected(4.4) * math.hypot(math.hypot(1, ACROSS), math.tan(math.radians(30)))
    assert weak.amount == pytest.approx(1.0 * 0.3 * strength("hardwood").shear / push, rel=0.03)
    assert "1.0 x 0.30 mm" in weak.text
    assert weak.line is not None
    stout = text(*loop(17, 17, 83, 53, lifts=[(k, 8, 20) for k in range(4)], step=4))
    assert found(stout) == {}


def test_bridges_need_not_bear_what_a_hold_down_does():
    lifts = [(k, 10, 17) for k in range(4)]
    thin = text(*loop(17, 17, 83, 53, lifts=lifts, top=-11.5, step=4))
    assert found(thin, hold=[pg.Tape(box(0, 0, 120, 80), shear=0.5)]) == {}


def test_no_force_is_known_without_speed_or_figures():
    for program, stock in (
        (RING.replace("S16000 M3", ""), BOARD),
        (RING, dataclasses.replace(BOARD, material="stone")),
    ):
        side, lift = forces(setting([program], stock=stock))
        assert side.max() == lift.max() == 0
    assert "hold-weak" not in found(RING.replace("S16000 M3", ""), hold=[pg.Tape(box(30, 30, 31, 31), shear=0.01)])


def test_what_no_force_is_known_for_is_said():
    def said(word, **stock):
        proof = prove(
            [RING],
            **settings(
                bounds=None,
                own=False,
                grid=0.5,
                stock=dataclasses.replace(BOARD, **stock),
                hold=[pg.Tape(BOARD.region, 1)],
            ),
        )
        return any(word in sentence for sentence in proof.unchecked)

    assert said("No cutting force is known for stone", material="stone")
    assert not said("No cutting force")
