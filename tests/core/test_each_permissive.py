"""Every row of the permissives: one world for each answer that it can give, and no load while it is not yes."""

from collections.abc import Callable
from dataclasses import replace

import pytest

from benchctl.core.command import Command, Verb
from benchctl.core.inputs import Recorder
from benchctl.core.permissives import PERMISSIVES
from benchctl.core.program import Hold, LoadIs, Program, Ramp, Target
from benchctl.core.reading import Outcome
from benchctl.core.site import Site
from benchctl.core.state import Mode
from tests.core.worlds import Stepper, program, site, staged

Answer = bool | None
World = Callable[[], Stepper]

PLACE = site(staged(20.0, 40.0), staged(20.0, 40.0))
ROWS = {row.key: row for row in PERMISSIVES}
START = Command(Verb.START)


def asking(peak_kw: float) -> Program:
    return program(Ramp(Target(peak_kw), 0.0), Hold(600.0))


def ready(peak_kw: float = 60.0) -> Stepper:
    return Stepper(PLACE, asking(peak_kw)).ready()


def met() -> Stepper:
    """Two scans in which everything is well, and nobody has taken charge."""
    w = Stepper(PLACE, asking(60.0))
    w.run(1.0)
    return w


def turned(of: Callable[[Stepper], object], fields: dict[str, object], seconds: float = 0.5) -> World:
    """All ready, then fields of something in the plant change, for a scan or longer."""

    def world() -> Stepper:
        w = ready()
        for name, value in fields.items():
            setattr(of(w), name, value)
        w.run(seconds)
        return w

    return world


def first(**fields: object) -> World:
    """All ready, then the first unit is this."""
    return turned(lambda w: w.plant.units[0], fields)


def unit(**fields: object) -> World:
    """All ready, then the first unit says this."""
    return first(fields=fields)


def source(**fields: object) -> World:
    """All ready, then the source is this, for longer than what was known of it counts as known."""
    return turned(lambda w: w.plant, fields, 4.0)


def recording(health: Recorder) -> World:
    def world() -> Stepper:
        w = ready()
        w.recorder = health
        w.scan()
        return w

    return world


def peak(peak_kw: float) -> World:
    return lambda: waiting(peak_kw)


def tripped(*after: Command) -> World:
    def world() -> Stepper:
        w = ready()
        w.plant.needs_set = True
        w.scan()
        w.plant.needs_set = False
        w.run(1.0)
        w.scan(*after)
        return w

    return world


def never_identified() -> Stepper:
    w = Stepper(PLACE, asking(60.0))
    for u in w.plant.units:
        u.fields = {"identity_ok": None}
    return w.ready()


def one_joined() -> Stepper:
    w = Stepper(PLACE, asking(60.0))
    w.plant.units[1].silent = Outcome.SILENT
    w.run(1.0)
    w.scan(Command(Verb.TAKE_CHARGE))
    return w


def nobody_met() -> Stepper:
    """Charge is taken of a chain in which no unit has answered yet."""
    w = Stepper(PLACE, asking(60.0))
    for u in w.plant.units:
        u.silent = Outcome.SILENT
    w.scan(Command(Verb.TAKE_CHARGE))
    return w


def fans_not_started() -> Stepper:
    """In charge for one scan: the fan has been ordered and the air is not read yet."""
    w = met()
    w.scan(Command(Verb.TAKE_CHARGE))
    return w


def waiting(
    peak_kw: float = 60.0, place: Site = PLACE, load_is: LoadIs = LoadIs.CHAIN, site_kw: float = 0.0
) -> Stepper:
    """Started, air proven, and kept waiting by nothing but the record."""
    w = Stepper(place, replace(asking(peak_kw), load_is=load_is)).ready()
    w.plant.site_kw = site_kw
    w.recorder = Recorder.FAILED
    w.scan(START)
    w.run(30.0)
    return w


def loaded_by_another() -> Stepper:
    """Somebody else's load on a unit whose fans run."""
    w = waiting()
    w.recorder = Recorder.OK
    w.plant.units[0].load = w.plant.units[0].wont_open = 1
    w.scan()
    return w


def no_meter_anywhere() -> Stepper:
    """No instrument and no unit that measures: nothing can be asked of volts that nobody tells."""
    return Stepper(replace(PLACE, instruments=()), asking(60.0)).ready()


# The program's first load is at least 20 kW; limits stand in the site: volts 10 %, hertz 2 %.
CASES: dict[str, dict[Answer, World]] = {
    "charge": {True: fans_not_started, False: met},
    "trip": {True: tripped(Command(Verb.RESET)), False: tripped()},
    "record": {True: recording(Recorder.BEHIND), False: recording(Recorder.FAILED)},
    "site": {True: source(needs_set=False), False: source(needs_set=True)},
    "joined": {True: one_joined, False: nobody_met},
    "contact": {True: ready, False: first(silent=Outcome.SILENT), None: nobody_met},
    "identity": {True: ready, False: unit(identity_ok=False), None: never_identified},
    "remote": {True: unit(remote=True), False: unit(remote=False), None: nobody_met},
    "empty": {True: waiting, False: loaded_by_another, None: first(silent=Outcome.SILENT)},
    "airflow": {True: waiting, None: fans_not_started},
    "able": {True: waiting, None: unit(fan_supply=False)},
    "volts": {True: source(volts=361.0), False: source(volts=359.0), None: source(volts=None)},
    "hertz": {True: source(hertz=49.1), False: source(hertz=48.9), None: source(hertz=None)},
    "enough": {True: peak(120.0), False: peak(120.1)},
}
# The answers that a row never gives: what a person or this program alone decides is always known, and what is
# proven by waiting is not wrong while it is not proven yet.
NEVER: set[tuple[str, Answer]] = {
    *((key, None) for key in ("charge", "trip", "record", "site", "joined", "enough")),
    *((key, False) for key in ("airflow", "able")),
}
EACH = [(key, answer) for key, worlds in CASES.items() for answer in worlds]
NOT_YES = [(key, answer) for key, answer in EACH if answer is not True]


def answer_of(w: Stepper, key: str) -> Answer:
    return ROWS[key].holds(w.state, w.last.seen, w.settings)


def test_every_row_has_a_world_for_each_answer_that_it_can_give():
    assert set(CASES) == set(ROWS)
    assert sorted([*EACH, *NEVER], key=str) == sorted(((k, a) for k in ROWS for a in (True, False, None)), key=str)


@pytest.mark.parametrize(("key", "answer"), EACH)
def test_the_row_gives_this_answer_in_its_world(key, answer):
    w = CASES[key][answer]()
    assert answer_of(w, key) is answer
    if w.mode() in (Mode.IDLE, Mode.CHECK):
        assert (ROWS[key].text, answer) in w.last.permissives


@pytest.mark.parametrize(("key", "answer"), NOT_YES)
def test_no_stage_closes_after_a_start_while_the_row_is_not_yes(key, answer):
    w = CASES[key][answer]()
    w.scan(START)
    assert answer_of(w, key) is answer
    for _ in range(60):
        if answer_of(w, key) is True:  # a unit that is lost is no longer asked, and the others begin without it
            break
        assert all(o.raise_to is None for o in w.last.orders.units)
        assert w.state.check.index < 0
        w.scan()
    assert sum(u.raised for u in w.plant.units) == 0


def test_once_every_row_is_yes_stages_close():
    w = waiting()
    assert [key for key in ROWS if answer_of(w, key) is not True] == ["record"]
    assert w.kw() == 0.0
    w.recorder = Recorder.OK
    w.run(5.0)
    assert w.kw() == 60.0


def test_without_any_meter_volts_and_hertz_are_not_asked_for():
    w = no_meter_anywhere()
    assert (answer_of(w, "volts"), answer_of(w, "hertz")) == (True, True)


@pytest.mark.parametrize(("load_is", "answer"), [(LoadIs.CHAIN, False), (LoadIs.SOURCE_TOTAL, True)])
def test_what_the_site_draws_counts_toward_the_peak_where_targets_count_the_source(load_is, answer):
    own = staged(20.0, 40.0, own=True)
    w = waiting(150.0, site(own, own), load_is, site_kw=40.0)
    assert answer_of(w, "enough") is answer
