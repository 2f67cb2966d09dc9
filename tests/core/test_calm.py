"""Looks change no decision: asking every row one by one, as the table stands, is the reference."""

from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from benchctl.core import alarms
from benchctl.core.calm import LOOKS, hertz_well, volts_well
from benchctl.core.causes import BENCH_ROWS, BY_KEY, UNIT_ROWS
from benchctl.core.conditions import Flag, Now
from benchctl.core.decide import decide
from benchctl.core.site import Limits
from tests.core.worlds import Stepper, site, staged
from tests.laws.free import scans

MANY = settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
BEHIND = dict(LOOKS)
KEYS = [key for _, keys in LOOKS for key in keys]
PERCENT = st.floats(0.0, 30.0)


def test_each_row_stands_behind_one_look_at_most_and_no_look_names_a_row_that_is_none():
    assert len(KEYS) == len(set(KEYS))
    assert set(KEYS) <= set(BY_KEY)


@pytest.mark.parametrize("rows", [BENCH_ROWS, UNIT_ROWS])
def test_each_condition_of_the_table_is_asked_in_one_place(rows):
    table = alarms._Rows.of(rows)
    asked = [active for _, behind in table.looks for active in behind] + list(table.others)
    assert sorted(map(id, asked)) == sorted(id(row.active) for row in rows if not isinstance(row.active, Flag))


@MANY
@given(scans())
def test_the_decision_is_the_same_when_every_row_is_asked_in_every_scan(scan):
    settings_, state, inputs = scan
    for standing in (state, replace(state, alarms={})):
        quick = decide(standing, inputs, settings_)
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(alarms._Rows, "quiet", lambda self, now: False)
            assert decide(standing, inputs, settings_) == quick


@MANY
@given(
    volts=st.floats(0.0, 600.0),
    hertz=st.floats(0.0, 80.0),
    block_s=st.sampled_from([0.0, 1.0]),
    limits=st.builds(
        Limits,
        volts_warn_percent=PERCENT,
        volts_trip_percent=PERCENT,
        block_volts_percent=PERCENT,
        volts_low_percent=st.floats(70.0, 120.0),
        hertz_warn_percent=PERCENT,
        block_hertz_percent=PERCENT,
        hertz_low_percent=st.floats(70.0, 120.0),
        hertz_low_warn_percent=st.floats(70.0, 120.0),
        hertz_stall_percent=st.floats(70.0, 120.0),
        hertz_high_percent=st.floats(90.0, 120.0),
    ),
)
def test_volts_and_hertz_are_well_only_where_no_row_on_them_fires_whatever_the_limits(volts, hertz, block_s, limits):
    w = Stepper(site(staged(60.0), limits=limits))
    seen = replace(w.scan().seen, volts_v=volts, hertz=hertz, loaded=True)
    now = Now.of(replace(w.state, block_s=block_s), seen, w.settings)
    for well in (volts_well, hertz_well):
        if well(now):
            assert not any(BY_KEY[key].active(now) for key in BEHIND[well])
