"""Four monthly runs as a surveyor found them: too short, too short, nothing after it and no percentage, and a good one.

From a published survey report of emergency power tests (tag K0918): at least 30 min under load of at least 30 % of
nameplate, at least 5 min of cool-down, the percentage recorded. Four independent runs, a reading a minute.
"""

import math

import pytest

from benchctl.assessment.judge import judge
from benchctl.assessment.trail import NAN, Trail
from benchctl.core.ruleset import Fields, Known, Origin, Rest
from tests.assessment.trails import NOT_MET, OPEN, SHOWN, duty, rules, trail

CLAUSE = Origin("8.4.2", Known.QUOTED, "S3")
RULES = rules(
    duty(30.0, 1800.0, "exercise"),
    Rest("cool", 300.0, Origin("", Known.MEMORY)),
    Fields("papers", ("percent_of_nameplate",), CLAUSE),
)


def run(loaded_min: int, rest_min: int, kw: float) -> Trail:
    """Load, then (if any) no load with the set running, then it stands still."""
    t_s = [60.0 * k for k in range(loaded_min + rest_min + 1 + (rest_min > 0))]
    loaded_s, end_s = 60.0 * loaded_min, 60.0 * (loaded_min + rest_min)
    made = trail(
        t_s,
        [kw if t <= loaded_s else 0.0 for t in t_s],
        hertz=[60.0 if t <= end_s else 0.0 for t in t_s],
        volts=[480.0 if t <= end_s else 0.0 for t in t_s],
        rated_hz=60.0,
        rated_v=480.0,
    )
    if not math.isnan(kw):
        made.papers["percent_of_nameplate"] = "34 %"
    return made


@pytest.mark.parametrize(
    ("made", "exercise", "cool", "papers"),
    [
        (run(15, 0, NAN), NOT_MET, OPEN, OPEN),  # 08:15 to 08:30
        (run(20, 0, NAN), NOT_MET, OPEN, OPEN),  # 08:40 to 09:00
        (run(30, 0, NAN), OPEN, OPEN, OPEN),  # 09:45 to 10:15: long enough, but of what?
        (run(30, 6, 170.0), SHOWN, SHOWN, SHOWN),  # 09:00 to 09:30 at 34 %, no load until 09:36
    ],
)
def test_four_runs_of_a_survey(made, exercise, cool, papers):
    judged = judge(made, RULES)
    assert [v.outcome for v in judged.verdicts] == [exercise, cool, papers]
    assert judged.verdicts[0].origin.clause == "8.4.2"


def test_the_good_one_names_the_times_that_it_rests_on():
    exercise, cool, _ = judge(run(30, 6, 170.0), RULES).verdicts
    assert (exercise.from_s, exercise.to_s) == (0.0, 1800.0)
    assert cool.from_s == 1800.0
    assert cool.to_s == 2160.0


def test_the_third_says_how_long_and_what_is_not_known():
    exercise, cool, papers = judge(run(30, 0, NAN), RULES).verdicts
    timed = exercise.working[0]
    assert (timed.low, timed.high) == (0.0, 1800.0)
    assert "kW not known: 0:00:00 to 0:30:00" in exercise.why
    assert "no load is seen" in cool.why
    assert "load in percent of nameplate" in papers.why
