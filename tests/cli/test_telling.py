"""The line that a terminal is told when nothing happens: no more than is known, and where the program is."""

import re
from dataclasses import replace

import pytest

from benchctl.cli import telling
from benchctl.cli.telling import CHECK_IN, long, state_line, steady, wrapped
from benchctl.core.shown import LegShown, PromptShown, Snapshot
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
    assert state_line(replace(now, off=None)) == "target 0 kW, delivered 0.0 kW, cool-down 93 s"
    now = replace(now, off=True)
    assert state_line(now) == "all load is off, cool-down 93 s"
    assert state_line(replace(now, source_cool_down_s=280.0)).endswith(", cool-down 93 s, the set runs on for 280 s")


def test_a_hold_and_a_cool_down_are_steady_as_long_as_nobody_is_asked_for_anything():
    now = source(200.0)
    assert steady(now)
    assert steady(replace(now, mode="cooling down", leg=None))
    assert not steady(now, absent=True)
    for change in ({"held": "why"}, {"paused": True}, {"waiting": True}, {"mode": "checks"}, {"mode": "unloading"}):
        assert not steady(replace(now, **change))
    assert not steady(replace(now, leg=replace(LEG, kind="ramp")))
    assert not steady(replace(now, prompt=PromptShown("band", "Go on?", "go on", "unload", 42.0, "hold")))


def test_a_figure_keeps_its_unit_on_its_line(monkeypatch):
    monkeypatch.setattr(telling, "in_terminal", lambda: True)
    line = f"12:00:00  {'running':<18} {state_line(source(200.1))}"
    for width in range(60, 120):
        monkeypatch.setenv("COLUMNS", str(width))
        parts = wrapped(line)
        assert all(len(part) <= width for part in parts)
        assert not any(part.strip().startswith(("kW", "s left", "left")) for part in parts)
        assert re.sub(r"\s", "", "".join(parts)) == re.sub(r"\s", "", line)


def test_a_person_is_asked_for_only_where_one_can_answer():
    assert state_line(source(None), absent=True).endswith(f"; IS SOMEBODY THERE? {CHECK_IN}")
    assert CHECK_IN not in state_line(source(None), absent=True, asks=False)


def test_times_are_told_in_words():
    assert [long(s) for s in (0.4, 119.4, 120.0, 599.0)] == ["0 s", "119 s", "2 min", "10 min"]
