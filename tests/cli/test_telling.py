"""The line that a terminal is told when nothing happens: no more than is known, and where the program is."""

from dataclasses import replace

import pytest

from benchctl.cli.telling import CHECK_IN, long, state_line
from benchctl.core.shown import LegShown, Snapshot
from tests.cli.desk import shown

LEG = LegShown(6, 11, 4, "hold", "", 200.0, None, 36.0, 84.0)


def source(power_kw: float | None) -> Snapshot:
    now = shown(target_kw=200.0, delivered_kw=158.04, leg=LEG)
    return replace(now, source=replace(now.source, power_kw=power_kw))


def test_a_running_program_is_told_with_what_the_source_carries_and_the_time_that_is_left():
    """Targets may count the site's own load: then only the source's kW can be compared with them."""
    told = "target 200 kW, delivered 158.0 kW, source 200.1 kW; segment 4, hold, 84 s left"
    assert state_line(source(200.06)) == told
    assert state_line(source(None)) == told.replace(", source 200.1 kW", "")


def test_a_label_stands_for_the_kind_of_a_segment():
    assert "; segment 4, full load, 84 s left" in state_line(replace(source(None), leg=replace(LEG, label="full load")))


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"waiting": True}, "; segment 4, hold"),
        ({"paused": True}, "; segment 4, hold; paused"),
        ({"held": "bank 1: load went off by itself"}, "; segment 4, hold; HELD: bank 1: load went off by itself"),
    ],
)
def test_no_time_is_left_where_none_passes(changes, told):
    assert state_line(replace(source(None), **changes)).endswith(f"158.0 kW{told}")


def test_nobody_knows_how_long_an_operator_takes():
    assert state_line(replace(source(None), leg=replace(LEG, to_go_s=None))).endswith("; segment 4, hold")


def test_a_check_load_is_no_target():
    assert state_line(replace(source(64.2), mode="checks", leg=None)) == "delivered 158.0 kW, source 64.2 kW"


def test_a_cool_down_is_told_with_its_time():
    now = replace(source(None), mode="cooling down", target_kw=0.0, delivered_kw=0.0, cool_down_s=93.4)
    assert state_line(now) == "target 0 kW, delivered 0.0 kW, cool-down 93 s"


def test_a_person_is_asked_for_only_where_one_can_answer():
    assert state_line(source(None), absent=True).endswith(f"; IS SOMEBODY THERE? {CHECK_IN}")
    assert CHECK_IN not in state_line(source(None), absent=True, asks=False)


def test_times_are_told_in_words():
    assert [long(s) for s in (0.4, 119.4, 120.0, 599.0)] == ["0 s", "119 s", "2 min", "10 min"]
