"""Every row of the table of alarms and interlocks: a scene in which it fires, one beside it in which it is quiet."""

from collections.abc import Callable
from dataclasses import replace

import pytest

from benchctl.core.alarms import _Rows, first_out
from benchctl.core.causes import BY_KEY, ROWS
from benchctl.core.command import Command, Verb
from benchctl.core.conditions import Flag, Now
from benchctl.core.decision import first_state
from benchctl.core.inputs import Recorder
from benchctl.core.profile import Fan, FanSupply, Reaction
from benchctl.core.program import Hold, Ramp, Target
from benchctl.core.reading import Outcome
from benchctl.core.site import Attendance, Limits
from benchctl.core.state import Mode
from tests.core.worlds import Stepper, program, site, staged

Scene = Callable[[Stepper], None]
OWN = site(staged(60.0, 60.0, own=True), staged(60.0, 60.0, own=True))
FED = staged(60.0, 60.0, fan=Fan(1.0, FanSupply.SOURCE, proof_s=5.0))


def unit(**fields) -> Scene:
    """The first unit says this."""

    def scene(w: Stepper) -> None:
        w.plant.units[0].fields = fields

    return scene


def plant(**fields) -> Scene:
    def scene(w: Stepper) -> None:
        for name, value in fields.items():
            setattr(w.plant, name, value)

    return scene


def first(**fields) -> Scene:
    def scene(w: Stepper) -> None:
        for name, value in fields.items():
            setattr(w.plant.units[0], name, value)

    return scene


def phase_gone(w: Stepper) -> None:
    w.plant.told = lambda e: replace(e, volts_ln=(231.0, 230.0, 5.0), volts_ll=(400.0, 231.0, 231.0))


def amps(share: float) -> Scene:
    def scene(w: Stepper) -> None:
        rated = w.settings.site.nameplate.rated_amps
        w.plant.told = lambda e: replace(e, amps=(share * rated,) * 3)

    return scene


def block(volts: float, hertz: float) -> Scene:
    """A block load, and what the set makes of it."""

    def scene(w: Stepper) -> None:
        w.scan(Command(Verb.SET_LOAD, value=240.0))
        w.scan()
        w.plant.volts, w.plant.hertz = volts, hertz

    return scene


def air_gone_without_load(w: Stepper) -> None:
    w.scan(Command(Verb.SET_LOAD, value=0.0))
    w.run(2.0)
    w.plant.units[0].air = False
    w.run(6.0)


def will_not(close: int, open_: int) -> Scene:
    def scene(w: Stepper) -> None:
        w.plant.units[0].wont_close, w.plant.units[0].wont_open = close, open_
        w.scan(Command(Verb.SET_LOAD, value=0.0 if open_ else 240.0))

    return scene


def blown(w: Stepper) -> None:
    w.plant.units[0].blown = frozenset({(0, 1)})


def stuck_switch(w: Stepper) -> None:
    w.scan(Command(Verb.SET_LOAD, value=0.0))
    w.until(lambda w: w.state.mode is Mode.IDLE and not w.state.units[0].fan)
    w.plant.units[0].air = True
    w.run(35.0)


def stopped_by_hand(w: Stepper) -> None:
    w.plant.units[0].fields = {"emergency_stop": True}


def meter_says(factor: float) -> Scene:
    """The meter at the source is wrong by a factor."""

    def scene(w: Stepper) -> None:
        w.plant.told = lambda e: replace(e, power_kw=factor * (e.power_kw or 0.0))

    return scene


def dead_source(w: Stepper) -> None:
    w.plant.volts, w.plant.hertz = 0.0, None


def stays_warm(w: Stepper) -> None:
    w.plant.units[0].exhaust_c = 60.0
    w.scan(Command(Verb.SET_LOAD, value=0.0))
    w.run(70.0)


def late(w: Stepper) -> None:
    w.scan(dt_s=1.5)


def frozen(w: Stepper) -> None:
    w.plant.told = lambda e: replace(e, refresh_count=7)
    w.run(8.0)


def recording_stops(w: Stepper) -> None:
    w.recorder = Recorder.FAILED


def gap(w: Stepper) -> None:
    w.scan(dt_s=100.0)


def attended(console: bool, check_in_s: float = 300.0) -> Scene:
    """A console is attached or not; somebody has to be there, and says nothing from now on."""

    def scene(w: Stepper) -> None:
        terms = Attendance(check_in_s=check_in_s, alarm_after_s=5.0)
        w.settings = replace(w.settings, site=replace(w.settings.site, attendance=terms))
        w.attached = console

    return scene


def found(load: int) -> Scene:
    """The session begins anew, and a unit has this load on."""

    def scene(w: Stepper) -> None:
        w.plant.units[0].load, w.plant.units[1].load = load, 0
        w.state, w.scans = first_state(w.settings), 0

    return scene


def all_silent(w: Stepper) -> None:
    for u in w.plant.units:
        u.silent = Outcome.SILENT


def nothing(w: Stepper) -> None:
    """All is well."""


# row: (the scene that fires it, a near one that does not)
PAIRS: dict[str, tuple[Scene, Scene]] = {
    "site needs the set": (plant(needs_set=True), plant(needs_set=False)),
    "emergency stop": (stopped_by_hand, unit(emergency_stop=False)),
    "phase lost": (phase_gone, plant(volts=380.0)),
    "hertz stall": (plant(hertz=42.0), plant(hertz=43.0)),
    "hertz low": (plant(hertz=46.0), plant(hertz=46.9)),
    "hertz low after block": (block(400.0, 44.5), block(400.0, 46.0)),
    "volts very low": (plant(volts=310.0), plant(volts=365.0)),
    "volts low": (plant(volts=350.0), plant(volts=362.0)),
    "volts low after block": (block(310.0, 50.0), block(330.0, 50.0)),
    "over-current": (amps(1.15), amps(1.05)),
    "over-power": (plant(site_kw=450.0), plant(site_kw=330.0)),
    "airflow lost": (first(air=False), nothing),
    "load without air": (first(air=False), air_gone_without_load),
    "air not known": (unit(airflow=None), nothing),
    "over-temperature": (first(exhaust_c=246.0), first(exhaust_c=220.0)),
    "fan supply lost": (unit(fan_supply=False), unit(fan_supply=None)),
    "unit volts high": (plant(volts=445.0), plant(volts=435.0)),
    "contactor stuck closed": (will_not(0, 3), will_not(0, 0)),
    "did not follow": (will_not(3, 0), will_not(0, 0)),
    "load changed by someone else": (first(load=3), nothing),
    "load fell": (first(load=0), nothing),
    "unit restarted": (first(uptime_s=1.0), first(uptime_s=5000.0)),
    "unit swapped": (unit(serial="T"), unit(serial="S")),
    "unit lost": (first(silent=Outcome.SILENT), first(silent=None)),
    "unit in local": (unit(remote=False), unit(remote=True)),
    "draws less": (blown, nothing),
    "kW do not match": (meter_says(0.94), meter_says(0.96)),
    "airflow proof stuck": (stuck_switch, nothing),
    "hot, fans stopped": (stopped_by_hand, nothing),
    "hot, no fan supply": (dead_source, nothing),
    "cool-down too long": (stays_warm, nothing),
    "exhaust warm": (first(exhaust_c=208.5), first(exhaust_c=204.0)),
    "inlet warm": (unit(inlet_c=46.0), unit(inlet_c=44.0)),
    "temperature missing": (first(exhaust_c=None), nothing),
    "volts off": (plant(volts=378.0), plant(volts=382.0)),
    "hertz off": (plant(hertz=48.9), plant(hertz=49.2)),
    "hertz below warning": (plant(hertz=47.0), plant(hertz=47.6)),
    "hertz high": (plant(hertz=52.6), plant(hertz=52.4)),
    "hertz not measured": (plant(hertz=None), plant(hertz=49.0)),
    "source meter lost": (plant(volts=None), nothing),
    "source meter frozen": (frozen, nothing),
    "source meter low": (meter_says(0.94), meter_says(0.96)),
    "nobody attached": (attended(console=False), attended(console=True)),
    "no sign of a person": (attended(console=True, check_in_s=4.0), attended(console=True, check_in_s=10.0)),
    "load found on": (found(3), found(0)),
    "time gap": (gap, late),
    "scan late": (late, nothing),
    "record stopped": (recording_stops, nothing),
    "no unit left": (all_silent, first(silent=Outcome.SILENT)),
    "short of target": (first(air=False), nothing),
}
RUNNING = {"short of target", "time gap", "record stopped"}
PARTLY = {"load changed by someone else", "did not follow"}


def stage_set(row: str) -> Stepper:
    """A loaded bench, in a run where the row needs one."""
    place = OWN
    if row == "hot, no fan supply":
        place = site(FED, FED)
    if row == "kW do not match":
        place = site(staged(60.0, 60.0), staged(60.0, 60.0))
    if row in ("hertz low", "volts low", "volts very low"):
        place = replace(OWN, limits=replace(OWN.limits, block_window_s=0.0))
    if row in RUNNING:
        w = Stepper(place, program(Ramp(Target(240.0), 0.0), Hold(900.0))).started()
        w.until(lambda w: w.kw() == 240.0)
    else:
        w = Stepper(place).loaded(60.0 if row in PARTLY or "block" in row else 120.0)
    w.run(15.0)
    return w


def fired(row: str, scene: Scene) -> bool:
    w = stage_set(row)
    before = len(w.events)
    scene(w)
    w.run(12.0)
    return any(e.kind == "alarm" and dict(e.data)["row"] == row for e in w.events[before:])


@pytest.mark.parametrize("row", [r.key for r in ROWS])
def test_the_row_fires_in_its_scene_and_stays_quiet_in_the_one_beside_it(row):
    fires, quiet = PAIRS[row]
    assert fired(row, fires)
    assert not fired(row, quiet)


def test_every_row_has_a_pair_of_scenes_and_no_scene_is_left_over():
    assert set(PAIRS) == {row.key for row in ROWS}


@pytest.mark.parametrize(
    "row", [r.key for r in ROWS if r.reaction in (Reaction.DROP, Reaction.UNLOAD, Reaction.UNIT_OFF)]
)
def test_what_a_row_takes_off_stays_off(row):
    w = stage_set(row)
    PAIRS[row][0](w)
    w.run(14.0)
    if BY_KEY[row].reaction is Reaction.UNIT_OFF:
        assert w.state.units[0].wanted == 0
        assert w.state.units[0].out or not BY_KEY[row].latch
    else:
        assert w.state.trip is not None
        assert w.ordered_kw() == 0.0
    raised = [u.raised for u in w.plant.units]
    w.plant.volts, w.plant.hertz, w.plant.site_kw, w.plant.needs_set, w.plant.told = 400.0, 50.0, 0.0, None, lambda e: e
    w.plant.units[0].fields, w.plant.units[0].air, w.plant.units[0].exhaust_c = {}, None, 25.0
    w.run(40.0)
    assert w.plant.units[0].raised == raised[0]


@pytest.mark.parametrize("names", [(), ("foreign",), ("foreign", "fell")])
def test_a_quick_look_overlooks_no_flag_however_few_a_table_has(names):
    w = Stepper(OWN).loaded(120.0)
    rows = _Rows.of(tuple(row for row in ROWS if isinstance(row.active, Flag) and row.active.name in names))
    assert len(rows.rows) == len(names)
    now = Now.of(w.state, w.last.seen, w.settings)
    assert rows.quiet(now)
    for name in names:
        w.state.units[0].foreign = w.state.units[0].fell = False
        setattr(w.state.units[0], name, True)
        assert not rows.quiet(now)


def test_over_hertz_never_takes_load_off():
    w = Stepper(OWN).loaded(120.0)
    w.plant.hertz = 60.0
    w.run(60.0)
    assert w.kw() == 120.0


def test_below_a_quarter_of_the_nameplate_the_kw_are_not_compared_again():
    w = Stepper(site(staged(30.0, 60.0), staged(60.0, 60.0))).loaded(90.0)
    meter_says(0.5)(w)
    w.run(30.0)
    assert ("kW do not match", -1) not in w.state.alarms


def test_a_burnt_element_that_is_known_is_no_mismatch():
    w = Stepper(site(staged(60.0, 60.0), staged(60.0, 60.0))).loaded(120.0)
    w.plant.units[0].blown = frozenset({(0, 1)})
    w.state.units[0].health = ((1.0, 0.0, 1.0), (1.0, 1.0, 1.0))
    w.run(30.0)
    assert ("kW do not match", -1) not in w.state.alarms


def test_one_implausible_sample_trips_nothing():
    for hertz in (419.0, 41.0, 0.0, 500.0):
        w = Stepper(OWN).loaded(120.0)
        w.plant.hertz = hertz
        w.scan()
        w.plant.hertz = 50.0
        w.run(10.0)
        assert w.state.trip is None
        assert w.kw() == 120.0


def test_hertz_mean_nothing_without_volts_and_a_fault_where_volts_are_there():
    w = Stepper(OWN).ready()
    for volts, hertz, fault in ((3.0, 50.0, False), (3.0, 0.0, False), (412.0, 0.0, True), (400.0, 419.0, True)):
        w.plant.volts, w.plant.hertz = volts, hertz
        w.scan()
        assert w.last.seen.hertz is None
        assert w.last.seen.hertz_fault is fault
    assert w.state.trip is None


def inlet(w: Stepper, *celsius: float) -> None:
    """A scan of a second for each temperature at the inlet."""
    for found in celsius:
        w.plant.units[0].fields["inlet_c"] = found
        w.scan()


def warm(**limits: float) -> Stepper:
    """Load on, the limit of the case at the inlet: 98 degrees C; the dead band is 1 K."""
    some = Limits(inlet_warn_c=98.0, largest_block_up_percent=100.0, **limits)
    return Stepper(site(staged(60.0, 60.0), limits=some), dt_s=1.0).loaded(60.0)


CHATTER = (97.9, 98.1) * 300


def test_H3_a_value_that_crosses_its_limit_each_second_for_ten_minutes_is_one_alarm_from_the_first_crossing():
    w = warm()
    inlet(w, CHATTER[0])
    assert not w.alarm("inlet warm", 0)
    inlet(w, CHATTER[1])
    assert w.alarm("inlet warm", 0), "at t = 1 s: a limit without a delay"
    inlet(w, *CHATTER[2:])
    found = w.state.alarms["inlet warm", 0]
    assert (found.active, found.count) == (True, 1)
    assert len([e for e in w.heard("alarm") if dict(e.data)["row"] == "inlet warm"]) == 1
    assert not [e for e in w.heard("returned to normal") if dict(e.data)["row"] == "inlet warm"]
    inlet(w, 97.1)
    assert w.alarm("inlet warm", 0), "within the dead band"
    inlet(w, 96.9)
    assert not w.alarm("inlet warm", 0)
    inlet(w, 98.1)
    assert w.state.alarms["inlet warm", 0].count == 2, "one entry, with a count"


def test_H3_with_a_delay_of_three_samples_a_value_that_never_stays_is_no_alarm():
    """98 percent of 50 Hz with no dead band could raise it 300 times: 97.5 and 99.5 by turns, outside of the band."""
    limits = Limits(hertz_low_warn_percent=98.0, hertz_low_warn_s=3.0, largest_block_up_percent=100.0)
    w = Stepper(replace(OWN, limits=limits), dt_s=1.0).loaded(120.0)
    for second in range(600):
        w.plant.hertz = 50.0 * (0.975 if second % 2 else 0.995)
        w.scan()
    assert not [e for e in w.heard("alarm") if dict(e.data)["row"] == "hertz below warning"]
    for _ in range(4):
        w.plant.hertz = 50.0 * 0.975
        w.scan()
    assert w.alarm("hertz below warning")


def test_H3_chatter_is_one_activation_with_a_dead_band():
    """97.9 and 98.1 percent by turns for 600 s at a limit of 98: one activation, still active at the end."""
    limits = Limits(hertz_low_warn_percent=98.0, hertz_low_warn_s=0.0, largest_block_up_percent=100.0)
    w = Stepper(replace(OWN, limits=limits), dt_s=1.0).loaded(120.0)
    for second in range(600):
        w.plant.hertz = 50.0 * (0.979 if second % 2 else 0.981)
        w.scan()
    found = w.state.alarms["hertz below warning", -1]
    assert found.active
    assert found.count == 1


def test_H5_four_faults_of_one_scan_are_first_together_and_stay_so_after_they_are_acknowledged_and_gone():
    w = Stepper(OWN).loaded(120.0)
    w.plant.units[0].fields = {"faults": 0b1111}
    w.scan()
    four = {(f"reported: {name}", 0) for name in ("under_frequency", "under_voltage", "phase_loss", "fan_fault")}
    assert {(a.row, a.unit) for a in first_out(w.state)} == four, "of one scan: which came first is not known"
    w.plant.units[0].fields = {"faults": 0b1000}
    w.scan()
    assert {(a.row, a.unit) for a in first_out(w.state)} == four, "gone, but not acknowledged"
    w.scan(Command(Verb.ACKNOWLEDGE, text="all"))
    w.plant.units[0].fields = {}
    w.plant.units[1].fields = {"faults": 0b1000}
    w.run(2.0)
    assert [(a.row, a.unit) for a in first_out(w.state)] == [("reported: fan_fault", 0)], "latched: still the first"


def test_H5_of_several_alarms_the_first_scan_is_first_out_and_within_it_the_order_is_not_known():
    w = Stepper(OWN).loaded(120.0)
    w.plant.units[1].fields = {"faults": 0b1000}
    w.run(1.5)
    w.plant.units[0].fields = {"faults": 0b1111}
    w.scan()
    assert [(a.row, a.unit) for a in first_out(w.state)] == [("reported: fan_fault", 1)]
    late = {a.order for a in w.state.alarms.values() if a.unit == 0}
    assert len(late) == 1
    w.scan(Command(Verb.ACKNOWLEDGE, text="all"))
    w.plant.units[0].fields = {}
    w.run(2.0)
    assert [(a.row, a.unit) for a in first_out(w.state)] == [("reported: fan_fault", 1)]
