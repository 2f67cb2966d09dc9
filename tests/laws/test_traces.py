"""The observer over scripts, written ones and ones that Hypothesis makes up: it finds nothing."""

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.core.command import Command, Verb
from benchctl.core.overrides import OVERRIDES
from benchctl.core.reading import Outcome
from tests.core.worlds import Stepper
from tests.laws import scripts
from tests.laws.observer import first_memory
from tests.laws.scripts import ATTENDED, SCRIPTS, TEST
from tests.laws.watched import Watching

VERBS = st.builds(
    Command,
    st.sampled_from(list(Verb)),
    why=st.sampled_from(["", "because"]),
    value=st.sampled_from([None, 0.0, 1.0, 20.0, 60.0, 100.0, 140.0]),
    text=st.sampled_from(
        ["", "yes", "no", "all", "unattended", "volts off", "1", "2", "oil_kpa=4", *(o.what for o in OVERRIDES)]
    ),
    unit=st.sampled_from([None, 0, 1, 7]),
    age_s=st.sampled_from([0.0, 0.0, 0.0, 3.0]),
)
UNIT_TROUBLE = st.sampled_from(
    [
        {"silent": Outcome.SILENT},
        {"silent": Outcome.DOWN},
        {"silent": Outcome.REFUSED},
        {"air": False},
        {"air": True},
        {"exhaust_c": 240.0},
        {"exhaust_c": None},
        {"wont_close": 1},
        {"wont_open": 3},
        {"ignores": True},
        {"load": 0},
        {"load": 3},
        {"fields": {"remote": False}},
        {"fields": {"emergency_stop": True}},
        {"fields": {"fan_supply": False}},
        {"fields": {"load": None}},
        {"fields": {"airflow": None}},
        {"fields": {"identity_ok": False}},
        {"uptime_s": 0.0},
        {"fields": {"serial": "T"}},
        {"fields": {"faults": 8}},
        {"fields": {"fan_on": False}},
        {"fields": {"load": 99}},
    ]
)
PLANT_TROUBLE = st.sampled_from(
    [
        {"volts": None},
        {"volts": 0.0},
        {"volts": 300.0},
        {"volts": 450.0},
        {"hertz": 42.0},
        {"hertz": None},
        {"site_kw": 50.0},
        {"needs_set": True},
    ]
)
WELL: dict[str, Any] = {
    "silent": None,
    "air": None,
    "exhaust_c": 25.0,
    "wont_close": 0,
    "wont_open": 0,
    "ignores": False,
    "fields": {},
}
WELL_PLANT: dict[str, Any] = {"volts": 400.0, "hertz": 50.0, "site_kw": 0.0, "needs_set": None}
STEPS = st.lists(
    st.one_of(
        st.tuples(st.just("command"), st.lists(VERBS, min_size=1, max_size=3)),
        st.tuples(st.just("unit"), st.integers(0, 1), UNIT_TROUBLE),
        st.tuples(st.just("plant"), PLANT_TROUBLE),
        st.tuples(st.just("well")),
        st.tuples(st.just("wait"), st.sampled_from([1, 3, 12, 60])),
        st.tuples(st.just("gap"), st.sampled_from([1.2, 5.0, 600.0])),
        st.tuples(st.just("ready")),
        st.tuples(st.just("attached"), st.sampled_from([None, True, False])),
    ),
    max_size=14,
)


def put(thing: object, fields: dict[str, Any]) -> None:
    """Set fields of a unit or of the plant."""
    for name, value in fields.items():
        setattr(thing, name, value)


def play(steps: list[tuple[Any, ...]], w: Stepper) -> None:
    """One script of commands and troubles."""
    for kind, *rest in steps:
        if kind == "command":
            w.scan(*rest[0])
        elif kind == "unit":
            put(w.plant.units[rest[0]], rest[1])
            w.scan()
        elif kind == "plant":
            put(w.plant, rest[0])
            w.scan()
        elif kind == "well":
            for u in w.plant.units:
                put(u, WELL)
            put(w.plant, WELL_PLANT)
        elif kind == "wait":
            w.run(rest[0] * w.dt_s)
        elif kind == "gap":
            w.scan(dt_s=rest[0])
        elif kind == "attached":
            w.attached = rest[0]
        elif kind == "found":
            for u, load in zip(w.plant.units, rest, strict=True):
                u.load, u.fan = load, load > 0
            w.scan()
        else:
            w.scan(Command(Verb.RESET), Command(Verb.TAKE_CHARGE))
            w.run(40.0)


@pytest.mark.parametrize("name", SCRIPTS)
def test_the_observer_finds_nothing_in_the_script(name):
    w = scripts.play(name)
    assert w.memory != first_memory(w.settings.site)


@settings(max_examples=60, deadline=None)
@given(STEPS)
def test_the_observer_finds_nothing_in_scripts_of_commands_and_troubles(steps):
    play([("ready",), *steps], Watching(ATTENDED, TEST))


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 3), st.integers(0, 3), STEPS)
def test_the_observer_finds_nothing_in_scripts_that_begin_with_load_on(first, second, steps):
    place = replace(ATTENDED, attendance=replace(ATTENDED.attendance, unattended=True))
    play([("found", first, second), *steps], Watching(place, TEST))
