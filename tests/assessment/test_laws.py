"""Laws that hold for any record: worse samples, holes, finer samples. Nothing outside is needed to know them."""

import math

from hypothesis import assume, given, settings
from hypothesis import strategies as st

from benchctl.assessment.judge import judge
from benchctl.assessment.trail import NAN, Hole
from benchctl.assessment.verdict import ORDER
from benchctl.core.ruleset import Measure, Quantity, Rest, SampleBase, Steady, Unbroken
from tests.assessment.trails import ORIGIN, duty, rules, trail, verdict

LEVELS = st.lists(st.sampled_from([0.0, 100.0, 149.0, 150.0, 151.0, 250.0, 300.0, NAN]), min_size=2, max_size=40)
BASES = st.sampled_from(list(SampleBase))
LOADS = st.sampled_from([duty(30.0, 60.0), duty(50.0, 30.0), Unbroken("load", 30.0, 45.0, ORIGIN)])
RULES = LOADS | st.just(Rest("load", 20.0, ORIGIN))


def rank(found) -> int:
    return ORDER.index(found.outcome)


@settings(max_examples=300, deadline=None)
@given(levels=LEVELS, at=st.integers(0, 39), rule=LOADS, base=BASES)
def test_less_load_never_makes_a_verdict_better(levels, at, rule, base):
    t_s = [5.0 * k for k in range(len(levels))]
    levels = [300.0, *levels[1:]]  # readings are counted from the first load on
    at = 1 + at % (len(levels) - 1)
    assume(not math.isnan(levels[at]))
    worse = [0.0 if k == at else kw for k, kw in enumerate(levels)]
    more = {"base": base, "reading_interval_s": 10.0}
    assert rank(verdict(trail(t_s, worse), rule, **more)) >= rank(verdict(trail(t_s, levels), rule, **more))


@settings(max_examples=300, deadline=None)
@given(levels=LEVELS, at=st.integers(0, 39), rule=RULES)
def test_a_good_sample_that_is_lost_never_makes_a_verdict_better(levels, at, rule):
    t_s = [5.0 * k for k in range(len(levels))]
    at %= len(levels)
    good_kw = (0.0, 10.0) if isinstance(rule, Rest) else (5.0 * rule.at_least_percent, 1e9)
    assume(good_kw[0] <= levels[at] <= good_kw[1])
    lost = list(levels)
    lost[at] = NAN
    assert rank(verdict(trail(t_s, lost), rule)) >= rank(verdict(trail(t_s, levels), rule))


@settings(max_examples=200, deadline=None)
@given(levels=LEVELS, at=st.integers(0, 39), gap_s=st.sampled_from([0.0, 10.0]), length_s=st.floats(0.5, 500.0))
def test_a_hole_never_lengthens_a_time(levels, at, gap_s, length_s):
    """Time that nobody has seen is put in between two samples; what is tolerated is no more than its own gap."""
    t_s = [5.0 * k for k in range(len(levels))]
    at = 1 + at % (len(levels) - 1)
    later = [t + (length_s if k >= at else 0.0) for k, t in enumerate(t_s)]
    hole = Hole(later[at - 1], later[at], "asleep")
    before = verdict(trail(t_s, levels), duty(30.0, 60.0), gap_s=gap_s).working[0].low
    now = verdict(trail(later, levels, holes=(hole,)), duty(30.0, 60.0), gap_s=gap_s).working[0].low
    assert before is not None
    assert now is not None
    assert now <= before + (length_s if length_s + 5.0 <= gap_s else 0.0) + 1e-6


@settings(max_examples=200, deadline=None)
@given(levels=st.lists(st.floats(0.0, 300.0), min_size=2, max_size=20), parts=st.integers(2, 5))
def test_finer_samples_stay_within_the_bounds_of_coarse_ones(levels, parts):
    """Samples on the straight lines between the coarse ones: proven time only grows, possible time only shrinks."""
    coarse_s = [10.0 * k for k in range(len(levels))]
    fine_s, fine = [], []
    for k in range(len(levels) - 1):
        for part in range(parts):
            share = part / parts
            fine_s.append(coarse_s[k] + 10.0 * share)
            fine.append(levels[k] + (levels[k + 1] - levels[k]) * share)
    fine_s.append(coarse_s[-1])
    fine.append(levels[-1])
    rule = Unbroken("load", 30.0, 1e6, ORIGIN)  # never shown: the longest time is told
    rough = verdict(trail(coarse_s, levels), rule).working[0]
    exact = verdict(trail(fine_s, fine), rule).working[0]
    assert rough.low is not None
    assert rough.high is not None
    assert exact.low is not None
    assert exact.high is not None
    assert rough.low - 1e-6 <= exact.low <= exact.high <= rough.high + 1e-6


@settings(max_examples=200, deadline=None)
@given(
    hertz=st.lists(st.floats(48.0, 52.0), min_size=3, max_size=30),
    at=st.integers(0, 29),
    away=st.floats(0.0, 5.0),
    measure=st.sampled_from([Measure.WIDTH, Measure.DEVIATION]),
)
def test_hertz_farther_from_rated_never_make_a_deviation_better(hertz, at, away, measure):
    t_s = [2.0 * k for k in range(len(hertz))]
    at %= len(hertz)
    worse = list(hertz)
    if measure is Measure.WIDTH:
        assume(hertz[at] != min(hertz))
        worse[at] = max(hertz) + away
    else:
        worse[at] = 50.0 + max(abs(h - 50.0) for h in hertz) + away
    rule = Steady("steady", Quantity.HERTZ, measure, 1.0, ORIGIN, over_s=2.0 * len(hertz))
    kw = [100.0] * len(t_s)
    assert rank(verdict(trail(t_s, kw, hertz=worse), rule)) >= rank(verdict(trail(t_s, kw, hertz=hertz), rule))


@settings(max_examples=100, deadline=None)
@given(levels=LEVELS, base=BASES)
def test_any_record_is_judged_and_every_verdict_has_its_origin(levels, base):
    t_s = [5.0 * k for k in range(len(levels))]
    found = judge(trail(t_s, levels), rules(duty(30.0, 60.0), Rest("cool", 20.0, ORIGIN), base=base))
    assert [v.key for v in found.verdicts] == ["load", "cool"]
    assert all(v.origin is ORIGIN and v.why for v in found.verdicts)
    assert ORDER.index(found.outcome) == max(rank(v) for v in found.verdicts)


@settings(max_examples=300, deadline=None)
@given(levels=LEVELS, at=st.integers(0, 39))
def test_less_load_never_makes_duties_in_a_row_better_as_a_whole(levels, at):
    t_s = [5.0 * k for k in range(len(levels))]
    at %= len(levels)
    assume(not math.isnan(levels[at]))
    worse = [0.0 if k == at else kw for k, kw in enumerate(levels)]
    three = rules(duty(20.0, 30.0, "a"), duty(30.0, 20.0, "b"), duty(50.0, 15.0, "c"))
    before, now = judge(trail(t_s, levels), three), judge(trail(t_s, worse), three)
    assert ORDER.index(now.outcome) >= ORDER.index(before.outcome)
