"""Every row of the closed list of faults changes the world, and what is wrong ends when the fault ends."""

import pytest

from benchctl.core.scenario import FAULTS, Fault
from simulator import faults as table
from simulator.direct import Direct
from tests.simulator.worlds import bench, loaded, profile

CABLE = "127.0.0.1:15000"
CASES: dict[str, tuple[str, float | None]] = {
    "fan fails": ("bank 1", None),
    "airflow proof stuck": ("bank 1", 0.0),
    "inlet blocked": ("bank 1", 0.5),
    "fan supply lost": ("bank 1", None),
    "over-temperature": ("bank 1", None),
    "contactor will not close": ("bank 1", 3.0),
    "contactor will not open": ("bank 1", 2.0),
    "fuse blown": ("bank 1", 4.3),
    "feedback wrong": ("bank 1", 1.0),
    "local": ("bank 1", None),
    "emergency stop": ("bank 1", None),
    "restarts": ("bank 1", None),
    "mute": ("bank 1", None),
    "busy": ("bank 1", 6.0),
    "ignores writes": ("bank 1", None),
    "refuses writes": ("bank 1", 4.0),
    "other master": ("bank 1", 12.0),
    "swapped": ("bank 1", None),
    "temperature sensor lost": ("bank 1", None),
    "temperature sensor frozen": ("bank 1", None),
    "watchdog dead": ("bank 1", None),
    "meter frozen": ("source meter", None),
    "meter lost": ("source meter", None),
    "transformer reversed": ("source meter", 1.0),
    "transformers exchanged": ("source meter", 23.0),
    "wrong ratio": ("source meter", 0.1),
    "volts lost at meter": ("source meter", None),
    "volts sag": ("source", 80.0),
    "hertz low": ("source", 90.0),
    "phase lost": ("source", 2.0),
    "source stops": ("source", None),
    "power limited": ("source", 0.05),
    "site needs the set": ("source", None),
    "site load": ("source", 40.0),
    "cut": (CABLE, None),
    "refuses": (CABLE, None),
    "delay": (CABLE, 2.0),
    "loses replies": (CABLE, 1.0),
    "garbles replies": (CABLE, 1.0),
}


def test_every_kind_of_fault_has_a_case_and_a_row_of_its_own_kind():
    assert set(CASES) == {f.name for f in FAULTS}
    for group, on in (
        (table.UNIT, "unit"),
        (table.INSTRUMENT, "instrument"),
        (table.SOURCE, "source"),
        (table.CABLE, "cable"),
    ):
        assert set(group) == {f.name for f in FAULTS if f.on == on}


def story(name: str | None) -> list[object]:
    """All that is seen while a unit is loaded, changed, emptied and loaded again, with a fault or without."""
    on, value = CASES[name] if name else ("", None)
    world = bench(profile(), faults=(Fault(10.0, name, on, value),) if name else ())
    port, bank = Direct(world), world.banks[0]
    bank.heard("request")
    loaded(world, 0b0111)
    seen: list[object] = []
    for now, load in ((9.0, None), (12.0, 0b1111), (14.0, None), (18.0, 0), (20.0, None), (25.0, 0b1111), (45.0, None)):
        world.advance(now)
        if load is not None and not (bank.trouble.ignores_writes or bank.trouble.refuses_writes is not None):
            bank.order_load(load)
        seen.append((world.truth(), port.read() if now < 26.0 else ()))
    return seen


@pytest.mark.parametrize("name", sorted(CASES))
def test_each_fault_changes_what_is_seen(name):
    assert story(name) != story(None)


def test_what_follows_a_fault_starts_only_with_it():
    for name in ("mute", "volts sag", "fan fails"):
        assert story(name)[0] == story(None)[0]


def world_with(name: str, for_s: float | None = None, **more):
    on, value = CASES[name]
    return bench(faults=(Fault(10.0, name, on, value, for_s=for_s),), kind="supply", **more)


def closed_after(name: str, load: int = 0b1111) -> int:
    world = loaded(world_with(name), load)
    world.advance(20.0)
    return world.banks[0].elements.closed


def test_a_welded_contactor_stays_in():
    world = loaded(world_with("contactor will not open"))
    world.advance(11.0)
    world.banks[0].order_load(0)
    world.advance(12.0)
    assert world.banks[0].elements.closed == 0b0010
    assert world.banks[0].elements.feedback == 0b0010


def test_a_contactor_that_will_not_close_stays_out_and_the_others_come():
    world = loaded(world_with("contactor will not close", for_s=20.0), 0)
    world.advance(11.0)
    world.banks[0].order_load(0b1111)
    world.advance(12.0)
    assert world.banks[0].elements.closed == 0b1011
    world.advance(31.0)
    assert world.banks[0].elements.closed == 0b1111


def test_a_blown_fuse_takes_one_phase_of_one_stage():
    world = loaded(world_with("fuse blown"))
    world.advance(20.0)
    assert world.truth()["load_kw"] == pytest.approx(40.0 - 20.0 / 3)


def test_a_wrong_feedback_shows_the_opposite():
    world = loaded(world_with("feedback wrong"), 0b0110)
    world.advance(20.0)
    assert world.banks[0].elements.feedback == 0b0111
    assert world.banks[0].elements.closed == 0b0110


@pytest.mark.parametrize("name", ["local", "emergency stop", "over-temperature", "restarts", "swapped"])
def test_what_takes_the_unit_from_us_takes_its_load_off(name):
    assert closed_after(name) == 0


@pytest.mark.parametrize("name", ["local", "emergency stop", "over-temperature", "restarts"])
def test_and_it_does_not_come_back_when_the_fault_ends(name):
    world = loaded(world_with(name, for_s=5.0))
    world.advance(300.0)
    assert (world.banks[0].elements.closed, world.banks[0].elements.order) == (0, 0)


def test_an_emergency_stop_stops_the_fan_and_local_control_does_not():
    for name, runs in (("emergency stop", False), ("local", True)):
        world = loaded(world_with(name))
        world.advance(20.0)
        assert world.banks[0].fan_on is runs


def test_a_restarted_unit_is_silent_for_a_while_and_counts_its_uptime_from_there():
    world = loaded(world_with("restarts"))
    world.advance(11.0)
    assert not world.banks[0].answering
    world.advance(20.0)
    assert world.banks[0].answering
    (unit,), _ = Direct(world).read()
    assert unit.uptime_s == 10.0


def test_a_swapped_unit_has_another_serial_number():
    world = loaded(world_with("swapped"))
    before = Direct(world).read()[0][0].serial
    world.advance(20.0)
    assert Direct(world).read()[0][0].serial not in (None, before)


def test_another_master_writes_the_load_that_comes_near():
    world = loaded(world_with("other master"), 0)
    world.advance(20.0)
    assert world.truth()["load_kw"] == pytest.approx(12.0)


def test_a_dead_watchdog_leaves_the_load_on():
    world = bench(faults=(Fault(1.0, "watchdog dead", "bank 1"),))
    world.banks[0].heard("request")
    loaded(world)
    world.advance(60.0)
    assert world.banks[0].elements.closed == 0b1111


def test_a_phase_that_is_lost_leaves_two_thirds_of_a_star_with_neutral():
    world = loaded(world_with("phase lost"))
    world.advance(20.0)
    assert world.truth()["load_kw"] == pytest.approx(40.0 * 2 / 3)


def test_a_sag_moves_volts_and_load_and_goes_away():
    world = loaded(world_with("volts sag", for_s=10.0))
    world.advance(15.0)
    assert world.truth()["load_kw"] == pytest.approx(40.0 * 0.64)
    world.advance(25.0)
    assert world.truth()["load_kw"] == pytest.approx(40.0)


def test_a_lost_meter_and_a_lost_sensor_are_missing_and_not_zero():
    world = loaded(world_with("temperature sensor lost"))
    world.advance(20.0)
    assert Direct(world).read()[0][0].exhaust_c is None
    world = loaded(world_with("meter lost"))
    world.advance(20.0)
    assert not Direct(world).read()[1][0].outcome.answered


def test_a_fault_by_hand_begins_now_and_is_in_force_until_it_is_healed():
    world = bench()
    told: list[tuple[str, bool, float]] = []
    world.tell_fault = lambda fault, begins: told.append((fault.fault, begins, world.now_s))
    world.advance(10.0)
    world.inject(Fault(0.0, "volts sag", "source", 80.0))
    assert [f.fault for f in world.in_force] == ["volts sag"]
    world.advance(20.0)
    assert world.source.volts_pu == pytest.approx(0.8, abs=0.01)
    assert [f.value for f in world.heal("volts sag", "source")] == [80.0]
    world.advance(30.0)
    assert world.source.volts_pu == pytest.approx(1.0, abs=0.01)
    assert told == [("volts sag", True, 10.0), ("volts sag", False, 20.0)]
    assert world.heal("volts sag", "source") == ()


def test_the_end_of_a_fault_does_not_end_the_one_that_took_its_place():
    world = bench(faults=(Fault(0.0, "volts sag", "source", 90.0, for_s=10.0),))
    world.advance(5.0)
    world.inject(Fault(0.0, "volts sag", "source", 80.0, for_s=15.0))
    world.advance(15.0)
    assert world.source.volts_pu == pytest.approx(0.8, abs=0.01)
    world.advance(30.0)
    assert world.source.volts_pu == pytest.approx(1.0, abs=0.01)
    assert world.in_force == []


def test_stages_fail_one_by_one_and_are_healed_together():
    world = bench()
    for stage in (1.0, 3.0):
        world.inject(Fault(0.0, "contactor will not close", "bank 1", stage))
    assert world.banks[0].trouble.will_not_close == {0, 2}
    assert len(world.heal("contactor will not close", "bank 1")) == 2
    assert world.banks[0].trouble.will_not_close == set()


def test_a_fault_by_hand_on_what_the_site_has_not_is_refused_and_changes_nothing():
    world = bench()
    with pytest.raises(ValueError, match="'bank 9', but the site has only: "):
        world.inject(Fault(0.0, "mute", "bank 9"))
    assert world.in_force == []
