"""States and inputs built freely, reachable or not: Hypothesis strategies for the laws over any state."""

from hypothesis import strategies as st

from benchctl.core.causes import ROWS
from benchctl.core.command import Command, Verb
from benchctl.core.decision import Settings
from benchctl.core.inputs import Inputs, Recorder
from benchctl.core.orders import UnitWrites, Write
from benchctl.core.overrides import OVERRIDES
from benchctl.core.program import Block, Drop, ExpectLoss, Hold, LoadIs, Ramp, Rounding, Silence, Starts, Target, Wait
from benchctl.core.prompts import PROMPTS
from benchctl.core.reading import NO_ELECTRICAL, Electrical, InstrumentReading, Outcome, UnitReading
from benchctl.core.site import Attendance, Unit, WhenLost
from benchctl.core.state import Alarm, CheckState, InstrumentState, Mode, Prompt, Shelved, State, Trip, UnitState
from tests.core.worlds import electrical, program, site, staged, stepped

PROFILES = st.sampled_from(
    [staged(20.0, 40.0), staged(10.0, 10.0, own=True), stepped(60.0, 20.0), stepped(50.0, 10.0, own=True)]
)
PROGRAMS = (
    None,
    program(
        Ramp(Target(60.0), 30.0),
        Hold(60.0, starts=Starts.IN_BAND),
        Block(Target(100.0, percent=True)),
        Drop(),
        check_load=True,
        stage_check=True,
        trim=True,
        load_is=LoadIs.SOURCE_TOTAL,
        source_cooldown_s=60.0,
    ),
    program(
        Wait("go?", 30.0, Silence.GO_ON),
        ExpectLoss(60.0, reapply=True),
        Hold(5.0),
        rounding=Rounding.AT_LEAST,
        readings=("oil_kpa",),
        reading_interval_s=2.0,
    ),
)
MAYBE = st.sampled_from([None, True, False])
SECONDS = st.sampled_from([0.0, 0.5, 1.0, 3.0, 5.0, 30.0, 1e9])


def often(value, other):
    """Mostly the value: a world in which everything is wrong at once reaches little."""
    return st.integers(0, 39).flatmap(lambda n: other if n == 39 else st.just(value))


@st.composite
def settings_of(draw) -> Settings:
    place = site(
        *draw(st.lists(PROFILES, min_size=1, max_size=3)),
        meter=draw(often(True, st.just(False))),
        nameplate_kw=draw(st.sampled_from([60.0, 100.0, 400.0])),
        when_lost=draw(st.sampled_from(list(WhenLost))),
        site_load_reserve_kw=draw(st.sampled_from([0.0, 10.0])),
        attendance=Attendance(draw(st.booleans()), hold_meanwhile=draw(st.booleans())),
    )
    return Settings.of(place, draw(st.sampled_from(PROGRAMS)), 0.5)


@st.composite
def measured(draw, count: int) -> Electrical:
    volts = draw(often(400.0, st.sampled_from([0.0, 3.0, 250.0, 350.0, 438.0, 445.0, 600.0])))
    hertz = draw(often(50.0, st.sampled_from([None, 0.0, 41.0, 46.0, 48.0, 53.0, 419.0])))
    kw = draw(st.sampled_from([0.0, 10.0, 20.0, 50.0]))
    found: Electrical = draw(often(electrical(volts, hertz, (kw, kw, kw), count), st.just(NO_ELECTRICAL)))
    return found


@st.composite
def unit_readings(draw, unit: Unit, wanted: int = 0) -> UnitReading:
    outcome = draw(often(Outcome.OK, st.sampled_from(list(Outcome))))
    if not outcome.tells:
        return UnitReading(outcome)
    profile = unit.profile
    most = profile.full_load
    return UnitReading(
        outcome,
        load=draw(often(wanted, st.one_of(st.integers(0, most), st.sampled_from([None, -1, most + 1])))),
        load_order=draw(st.one_of(st.none(), st.integers(0, most))),
        remote=draw(often(True, MAYBE)),
        fan_on=draw(often(True, MAYBE)),
        airflow=draw(often(True, MAYBE)),
        fan_supply=draw(often(True, MAYBE)),
        emergency_stop=draw(often(False, MAYBE)),
        site_needs_set=draw(often(None, MAYBE)),
        inlet_c=draw(often(20.0, st.sampled_from([None, -20.0, 60.0]))),
        exhaust_c=draw(often(25.0, st.sampled_from([None, 90.0, 200.0, 400.0]))),
        uptime_s=draw(often(100.0, st.sampled_from([None, 0.0]))),
        serial=draw(often("S", st.sampled_from([None, "T"]))),
        identity_ok=draw(often(True, MAYBE)),
        faults=draw(often(0, st.integers(0, 63))),
        faults_known=draw(often(63, st.integers(0, 63))),
        electrical=draw(measured(draw(st.integers(0, 2)))) if "power_kw" in profile.reports else NO_ELECTRICAL,
        power_reading="power_kw" in profile.reports,
    )


def instrument_readings():
    told = st.builds(InstrumentReading, st.just(Outcome.OK), measured(1), site_needs_set=often(None, MAYBE))
    return st.integers(0, 9).flatmap(
        lambda n: st.builds(InstrumentReading, st.sampled_from(list(Outcome))) if n == 9 else told
    )


COMMANDS = st.lists(
    st.builds(
        Command,
        st.sampled_from(list(Verb)),
        who=often("operator", st.just("")),
        why=st.sampled_from(["", "because"]),
        value=st.sampled_from([None, -1.0, 0.0, 1.0, 20.0, 60.0, 1e6, float("inf")]),
        text=st.sampled_from(
            [
                "",
                "yes",
                "no",
                "all",
                "unit lost",
                "unattended",
                "volts off",
                "1",
                "2",
                "oil_kpa=4",
                "correct 1: oil_kpa=5",
                *(o.what for o in OVERRIDES),
            ]
        ),
        unit=st.sampled_from([None, 0, 1, 2, -1, 9]),
        age_s=often(0.0, st.sampled_from([2.5, 1e6])),
    ),
    max_size=4,
).map(tuple)


@st.composite
def unit_states(draw, unit: Unit) -> UnitState:
    profile = unit.profile
    loads = st.integers(0, profile.full_load)
    wanted = draw(loads)
    possible = draw(often(wanted, loads))
    stages = range(len(profile.stages))
    return UnitState(
        wanted=wanted,
        possible=possible | wanted if profile.stages else max(possible, wanted),
        sent=draw(often(None, loads)),
        follow_s=draw(often(0.0, st.sampled_from([0.5, 1.0]))),
        opening_s=draw(SECONDS),
        last=draw(unit_readings(unit, wanted)),
        age_s=draw(often(0.0, SECONDS)),
        heard=draw(often(True, st.just(False))),
        joined=draw(often(True, st.just(False))),
        lost=draw(often(False, st.just(True))),
        found=draw(often(False, st.just(True))),
        emptied=draw(often(True, st.just(False))),
        serial=draw(st.sampled_from(["", "S"])),
        identified=draw(often(True, MAYBE)),
        foreign=draw(often(False, st.just(True))),
        fell=draw(often(False, st.just(True))),
        restarted=draw(often(False, st.just(True))),
        swapped=draw(often(False, st.just(True))),
        stuck_air=draw(often(False, st.just(True))),
        air_off_s=draw(SECONDS),
        unclosed=draw(often(0, loads)),
        welded=draw(often(0, loads)),
        fan=draw(often(True, st.just(False))),
        fan_on_s=draw(SECONDS),
        seen_still=draw(often(True, st.just(False))),
        proven=draw(often(True, st.just(False))),
        fan_withdrawn=draw(often(False, st.just(True))),
        owed_s=draw(st.sampled_from([0.0, 0.5, 20.0])),
        near_s=draw(st.sampled_from([0.0, 0.5, 5.0])),
        hot=draw(st.booleans()),
        cooling_s=draw(SECONDS),
        feed_s=draw(SECONDS),
        out=False,
        steady_s=draw(SECONDS),
        missing=draw(often((), st.just(tuple((s, 1, 2) for s in stages)))),
        health=draw(often(None, st.just(tuple((1.0, 0.0, 1.0) for _ in stages) or None))),
    )


@st.composite
def states(draw, settings: Settings) -> State:
    units = settings.site.units
    keys = [
        (r.key, -1 if r.scope == "bench" else draw(st.integers(0, len(units) - 1)))
        for r in draw(st.lists(st.sampled_from(ROWS), max_size=3))
    ]
    alarms = {
        key: Alarm(
            *key,
            on_s=draw(SECONDS),
            active=draw(st.booleans()),
            acknowledged=draw(st.booleans()),
            latched=draw(often(False, st.just(True))),
            count=1,
            order=draw(st.integers(1, 3)),
            text="x",
        )
        for key in keys
    }
    running = (Mode.RUN, Mode.CHECK) if settings.program else ()
    prompt = st.builds(
        Prompt, st.sampled_from([p.kind for p in PROMPTS]), st.just("?"), SECONDS, st.sampled_from(list(Silence))
    )
    kw = st.sampled_from([0.0, 0.0, 20.0, 60.0, 100.0, 400.0])
    return State(
        units=tuple([draw(unit_states(u)) for u in units]),
        instruments=tuple(
            InstrumentState(draw(instrument_readings()), draw(SECONDS), draw(SECONDS))
            for _ in settings.site.instruments
        ),
        charge=draw(often("operator", st.just(""))),
        unattended=draw(often(False, st.just(True))),
        alone_s=draw(often(0.0, SECONDS)),
        person_s=draw(often(0.0, SECONDS)),
        found_s=draw(often(None, SECONDS)),
        mode=draw(st.sampled_from([Mode.IDLE, Mode.UNLOAD, Mode.COOL, Mode.DONE, *running * 2])),
        check=CheckState(
            index=draw(st.integers(-1, 8)),
            step=draw(st.integers(0, 2)),
            wait_s=draw(SECONDS),
            load=draw(st.integers(0, 3)),
            waited_s=draw(SECONDS),
        ),
        leg=draw(st.integers(0, len(settings.legs) + 1)),
        leg_s=draw(st.sampled_from([0.0, 1.0, 29.9])),
        from_kw=draw(kw),
        target_kw=draw(kw),
        waiting=draw(st.booleans()),
        waited_s=draw(SECONDS),
        phase=draw(st.integers(0, 3)),
        paused=draw(often(False, st.just(True))),
        held=draw(often("", st.just("why"))),
        prompt=draw(often(None, prompt)),
        reading_owed_s=draw(often(None, SECONDS)),
        reading_number=draw(st.integers(1, 3)),
        unload_s=draw(SECONDS),
        unload_fast=draw(st.booleans()),
        by_hand=draw(st.booleans()),
        after_unload=draw(st.sampled_from(["", "completed"])),
        source_cool_s=draw(SECONDS),
        outcome="",
        room_kw=draw(kw),
        block_s=draw(SECONDS),
        volts_v=draw(st.sampled_from([300.0, 400.0, 440.0])),
        site_kw=draw(kw),
        short_kw=draw(often(0.0, kw)),
        trim_kw=draw(often(0.0, st.sampled_from([-20.0, 20.0]))),
        trim_wait_s=draw(SECONDS),
        settle_s=draw(SECONDS),
        fan_gap_s=draw(st.sampled_from([0.0, 1.0])),
        redistributed=draw(st.booleans()),
        alarms=alarms,
        alarm_order=3,
        shelved=draw(often((), st.just((Shelved("volts off", -1, 1.0, "x", "x", "x"),)))),
        trip=draw(often(None, st.just(Trip("drop", -1, "x", 0, 0.0)))),
        dropped=draw(often(False, st.just(True))),
    )


@st.composite
def inputs_of(draw, settings: Settings, state: State) -> Inputs:
    units = settings.site.units
    writes = st.builds(UnitWrites, *[st.sampled_from(list(Write))] * 4)
    return Inputs(
        draw(st.sampled_from([0.0, 1e5])),
        draw(often(0.5, st.sampled_from([0.0, 1.2, 2.5, 3600.0]))),
        tuple([draw(unit_readings(u, w.wanted)) for u, w in zip(units, state.units, strict=True)]),
        tuple([draw(instrument_readings()) for _ in settings.site.instruments]),
        draw(st.one_of(st.just(()), COMMANDS)),
        draw(st.one_of(st.just(()), st.tuples(*[writes] * len(units)))),
        draw(st.sampled_from(list(Recorder))),
        draw(st.sampled_from([0.0, -2400.0])),
        draw(st.booleans()),
        draw(often(None, st.booleans())),
        draw(st.sampled_from([0.0, 2.0])),
    )


@st.composite
def scans(draw) -> tuple[Settings, State, Inputs]:
    """Any state with any inputs."""
    settings = draw(settings_of())
    state = draw(states(settings))
    return settings, state, draw(inputs_of(settings, state))
