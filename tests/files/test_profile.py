"""Unit profiles: what is read, and every rule that refuses one. The rules are our own; sums are arithmetic."""

from typing import Any

import pytest

from benchctl.core.profile import FanSupply, Reaction
from benchctl.core.registers import Kind, Space
from benchctl.files import read_profile
from benchctl.files.profile import StageRow, shares
from tests.files.paper import changed, flaws, marked, read, text_of


def test_a_unit_with_coils_is_read_whole():
    profile: Any
    profile, source = read_profile("coil-150")
    assert (profile.name, profile.rated_kw, profile.rated_v, profile.connection) == ("coil-150", 150.0, 400.0, "wye")
    assert [s.power_kw for s in profile.stages] == [4, 6, 10, 20, 30, 40, 40]
    first = profile.stages[0]
    assert (first.order.space, first.order.address, first.order.write_function) == (Space.COIL, 0, 5)
    assert (first.feedback.space, first.feedback.address, first.feedback.kind) == (Space.DISCRETE, 0, Kind.BIT)
    door = next(f for f in profile.faults if f.name == "door open")
    assert (door.point.inverted, door.reaction) == (True, Reaction.UNIT_OFF)
    assert (profile.watchdog.time_s, profile.watchdog.fed_by) == (15.0, "any request")
    assert profile.registers.point("power_kw").scale == 0.001
    assert {"remote", "airflow", "exhaust_c", "power_kw"} <= profile.reports
    assert source.sha256 == "".join(source.sha256.split())
    assert len(source.sha256) == 64


def test_a_unit_with_a_mask_has_no_points_of_its_own_for_stages():
    profile: Any = read_profile("mask-120")[0]
    assert all(s.order is None and s.feedback is None for s in profile.stages)
    assert profile.registers.point("stages_order").write_function == 6
    assert profile.registers.point("stages_order").address == 0
    assert profile.fan.supply is FanSupply.SEPARATE


def test_a_unit_with_a_set_point_has_no_stages():
    profile: Any = read_profile("setpoint-80")[0]
    assert (profile.stages, profile.rated_kw, profile.setpoint.resolution_kw) == ((), 80.0, 4.0)
    assert profile.setpoint.actual
    assert [p.expect for p in profile.registers.points if p.name == "known_value"] == [
        "SunS",
        1.0,
        66.0,
        "invented",
        203.0,
        105.0,
        -1.0,
    ]


@pytest.mark.parametrize("across", ["abc", "a", "b", "c", "ab", "bc", "ca"])
@pytest.mark.parametrize("power", [2.0, 4.0, 6.0, 10.0, 20.0, 25.0, 33.3, 40.0])
def test_the_phases_of_a_stage_sum_to_its_power_exactly(across, power):
    a, b, c = shares(StageRow.model_validate({"name": "s", "power": f"{power} kW", "across": across}))
    assert a + b + c == power
    assert {"abc"[i] for i, part in enumerate((a, b, c)) if part} == set(across)


@pytest.mark.parametrize(
    ("name", "old", "new", "told"),
    [
        (
            "coil-150",
            "fan: {power: 3 kW",
            "setpoint: {maximum: 80 kW, resolution: 4 kW, kw_are: actual}\nfan: {power: 3 kW",
            "has either 'stages'",
        ),
        (
            "coil-150",
            "- {name: 20 kW, power: 20 kW, order: coil 3, feedback: discrete 3}",
            "- ¶{name: 20 kW, power: 20 kW, order: coil 3}",
            "key 'feedback' is missing here: all stages have one",
        ),
        (
            "coil-150",
            "- {name: 20 kW, power: 20 kW, order: coil 3,",
            "- {name: ¶10 kW, power: 20 kW, order: coil 3,",
            "'10 kW' is the name of number 3 too",
        ),
        ("coil-150", "order: coil 3,", "order: ¶holding 3.1,", "'holding 3.1' is no coil"),
        ("coil-150", "{name: 20 kW, power: 20 kW,", "¶{name: 20 kW, power: 0 kW,", "a stage of 0 kW is none"),
        (
            "coil-150",
            "{name: 20 kW, power: 20 kW,",
            "¶{name: 20 kW, power: 20 kW, phase_kw: [1, 2, 3],",
            "either 'power' or 'phase_kw'",
        ),
        ("coil-150", "  airflow: {at: discrete 18}\n", "", "the point 'airflow' is missing here"),
        ("coil-150", "  remote: {at: discrete 16}\n", "", "the point 'remote' is missing here"),
        ("coil-150", "  fan_order: {at: coil 8, write: 5}", "  ¶fan_order: {at: coil 8}", "say by which function"),
        (
            "coil-150",
            "  fan_order: {at: coil 8, write: 5}",
            "  fan_order: {at: coil 8, write: ¶6}",
            "function 6 cannot write coil 8 as bit, expected 5 or 15",
        ),
        ("coil-150", "proof: 8 s, flow", "proof: 8 s, controllable: false, flow", "the unit runs its fans by itself"),
        ("coil-150", "cooldown: {minimum: 5 min", "cooldown: {minimum: ¶20 s", "expected at least 30 s"),
        ("coil-150", "cooldown: {minimum: 5 min", "cooldown: {minimum: 29.9 s", "expected at least 30 s"),
        ("coil-150", "alarm: 15 min}", "alarm: ¶5 min}", "expected more than the minimum of 300 s"),
        (
            "coil-150",
            "  inlet_c: {at: input 0, type: int16, scale: 0.1, range: [-40, 80]}\n",
            "",
            "the point 'inlet_c' is missing",
        ),
        ("coil-150", "feed_every: 5 s", "feed_every: ¶8 s", "at most half of the watchdog's 15 s"),
        ("coil-150", "fed_by: any request", "fed_by: register", "the point 'watchdog_feed' is missing"),
        ("coil-150", "fed_by: any request", "fed_by: ¶any packet", "expected one of: any request, any write, register"),
        ("coil-150", "proof: 8 s", "proof: ¶0 s", "expected more than 0 and at most 120 s"),
        ("coil-150", "connection: wye", "connection: ¶single", "expected wye or delta"),
        ("coil-150", "volts: 400 ", "volts: ¶-400 ", "found '-400', expected more than 0"),
        ("coil-150", "name: door open,", "name: ¶air fault,", "'air fault' is the name of number 2 too"),
        (
            "coil-150",
            "at: discrete 34,",
            "at: ¶input 34,",
            "is a whole register; name one bit of it, such as input 34.0",
        ),
        (
            "coil-150",
            "inverted: true, reaction: unit off}",
            "inverted: true, reaction: ¶explode}",
            "expected one of: note, alarm, hold",
        ),
        (
            "mask-120",
            "  stages_closed: {at: holding 11, type: uint16, missing: []}\n",
            "",
            "the point 'stages_closed' is missing here",
        ),
        (
            "mask-120",
            "{at: holding 1, type: uint16, write: 6, missing: []}",
            "{at: holding 1, type: int16, write: 6, missing: []}",
            "a mask of 6 stages is a uint16",
        ),
        (
            "mask-120",
            "  watchdog_feed: {at: holding 3, type: uint16, write: 6, missing: []}\n",
            "",
            "fed by a register",
        ),
        ("setpoint-80", "resolution: 4 kW", "resolution: ¶3 kW", "80 kW is no whole number of steps of 3 kW"),
        (
            "setpoint-80",
            "  setpoint_in_force_kw: {at: holding 103, type: uint16, scale: 0.1, range: [0, 80]}\n",
            "",
            "the point 'setpoint_in_force_kw' is missing here",
        ),
    ],
)
def test_a_profile_that_could_not_be_run_safely_is_refused(name, old, new, told):
    text = changed("unit", name, old, new)
    place = "x.yaml:"
    if "¶" in text:
        text, place = marked(text)
    found = flaws("unit", text)
    assert len(found) == 1, found
    assert found[0].startswith(place), found
    assert told in found[0]


def test_several_flaws_are_told_at_once_in_the_order_of_the_file():
    text = changed("unit", "coil-150", "proof: 8 s", "proof: 0 s").replace("feed_every: 5 s", "feed_every: 9 s")
    assert len(flaws("unit", text.replace("minimum: 5 min", "minimum: 1 s"))) == 3


def test_single_phase_stages_belong_to_single_phase_units():
    text = text_of("unit", "mask-120").replace("phases: 3, connection: delta", "phases: 1, connection: single")
    assert len(flaws("unit", text)) == 6
    one_phase = read("unit", text.replace("kW}\n", "kW, across: a}\n"))
    assert one_phase.stages[0].phase_kw == (4.0, 0.0, 0.0)
