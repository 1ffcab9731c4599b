"""The proof is tested by damage: good programs spoilt by rule, and every one that matters must be refused.

The count is told by the slow tests with -s, one line for each job and rule.
"""

import collections
import random

import mutant_jobs
import mutant_measure
import numpy as np
import pytest
from mutant_jobs import good
from mutants import CHANGED, RULES, every_mutant, moved, put

FAST = 20
"""The fast suite judges one mutant in this many."""


def judge(mutant):
    """Return (verdict, complaint): the complaint is None where the proof says what it must."""
    of = good(mutant.job)
    proof = of.prove(mutant.texts, **mutant.more)
    errors = {f.code for f in proof.findings if f.severity == "error"}
    if mutant.must or mutant.must_say:
        said = errors & mutant.must or {f.code for f in proof.findings} & mutant.must_say
        owed = sorted(mutant.must | mutant.must_say)
        return "breaks a rule", None if said else f"{mutant}: owed is one of {owed}, told {sorted(errors)}"
    if mutant.harmless:
        return "harmless", f"{mutant}: harmless, but refused for {sorted(errors)}" if errors else None
    try:
        change = max(mutant_measure.change(of, mutant.texts, tools=mutant.more.get("tools"), enough=CHANGED))
    except mutant_measure.UnreadableError as err:
        return "cannot be read", None if errors else f"{mutant}: {err}, but passed"
    if change > CHANGED:
        told = f"{mutant}: the part changes by {change:.3f} mm, told {sorted(errors)}"
        return "changes the part", None if errors & mutant.codes else told
    return "equivalent, refused" if errors else "equivalent, passed", None


def judged(mutants):
    """Judge mutants; return complaints, and print how many of how many by rule."""
    complaints, table = [], collections.defaultdict(collections.Counter)
    for mutant in mutants:
        verdict, complaint = judge(mutant)
        table[mutant.rule][verdict] += 1
        if complaint:
            complaints.append(complaint)
    for rule, counts in table.items():
        print(f"{rule}: " + ", ".join(f"{n} {verdict}" for verdict, n in sorted(counts.items())))
    total = sum(table.values(), collections.Counter())
    print("ALL: " + ", ".join(f"{n} {verdict}" for verdict, n in sorted(total.items())))
    return complaints


# -- the measure -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["handmade", "islands", "by hand"])
def test_a_good_program_does_not_change_the_part(name):
    assert mutant_measure.change(good(name), good(name).texts) == (0.0, 0.0)


def test_the_measure_of_a_moved_program_is_how_far_it_moved():
    """Pockets moved by 0.3 along X: 0.3 too much at one wall, 0.3 too little at the other, at most."""
    job = good("islands")
    gouge, residual = mutant_measure.change(job, moved(job, 0, 0.3, 0.0), enough=0.1, whole=True)
    assert 0.2 < gouge <= 0.301
    assert 0.2 < residual <= 0.301


def test_the_measure_of_a_groove_is_normal_to_its_walls():
    """A cone moved sideways by d comes out of its old self by d cos(half the angle)."""
    job = good("handmade")
    gouge, residual = mutant_measure.change(job, moved(job, 0, 0.0, 0.4), enough=0.1, whole=True)
    assert gouge == pytest.approx(0.4 * np.cos(np.radians(30)), abs=0.01)
    assert residual == pytest.approx(0.4 * np.cos(np.radians(30)), abs=0.01)


def test_a_line_run_twice_is_no_change():
    job = good("handmade")
    lines = job.texts[1].splitlines()
    texts = put(job.texts, 1, {}, insert={25: lines[24]})
    assert texts != job.texts
    assert mutant_measure.change(job, texts) == (0.0, 0.0)


def test_the_distance_from_a_tool_is_that_of_a_dense_cloud_of_its_points():
    """Cone with a flat tip, cylinder and ball, against the nearest of points strewn over their half sections."""
    rng = np.random.default_rng(1)
    for shape in (("cone", 3.0, 0.4, 1.7), ("flat", 2.0, 0.0, 0.0), ("ball", 2.5, 0.0, 0.0)):
        r, h = rng.uniform(0, 5, 60), rng.uniform(-2, 6, 60)
        radius = np.linspace(0, shape[1], 4001)
        if shape[0] == "ball":
            height = shape[1] - np.sqrt(np.maximum(shape[1] ** 2 - radius**2, 0))
        else:
            height = np.maximum(radius - shape[2], 0) * shape[3]
        side = np.linspace(height[-1], 12, 12001)
        edge = np.concatenate([np.column_stack([radius, height]), np.column_stack([np.full(12001, shape[1]), side])])
        truth = np.hypot(r[:, None] - edge[:, 0], h[:, None] - edge[:, 1]).min(axis=1)
        within = (r < shape[1]) & (h > np.interp(r, radius, height))
        found = mutant_measure.from_body(*shape, r, h)
        assert np.abs(found[~within] - truth[~within]).max() < 2e-3
        assert np.abs(found[within] + truth[within]).max() < 2e-3


# -- the mutants -----------------------------------------------------------------------------------------------------


def test_there_are_three_hundred_mutants_of_twenty_rules_and_none_twice():
    mutants = every_mutant(full=True)
    assert len(every_mutant()) >= 300
    assert len({m.rule for m in mutants}) >= 20
    assert {m.rule for m in mutants} == set(RULES), "a rule without mutants tests nothing"
    assert len({str(m) for m in mutants}) == len(mutants)
    unchanged = [str(m) for m in mutants if m.texts == good(m.job).texts and not m.more]
    assert not unchanged


@pytest.mark.parametrize("name", mutant_jobs.NAMES)
def test_the_programs_are_good_before_they_are_damaged(name):
    proof = good(name).prove()
    assert proof.ok is True, str(proof)


def test_one_mutant_in_twenty_is_judged_right():
    mutants = every_mutant()
    complaints = judged(random.Random(5).sample(mutants, len(mutants) // FAST))
    assert not complaints, "\n".join(complaints)


@pytest.mark.slow
@pytest.mark.parametrize("name", mutant_jobs.NAMES)
def test_every_mutant_is_judged_right(name):
    complaints = judged([m for m in every_mutant() if m.job == name])
    assert not complaints, "\n".join(complaints)
