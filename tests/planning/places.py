"""Sites and programs built from nouns for the tests of planning: our own invention, and Hypothesis strategies."""

from dataclasses import replace
from typing import Any

from hypothesis import strategies as st

from benchctl.core.profile import CoolDown, Fan, FanSupply, Profile, SetPoint, Stage, Watchdog
from benchctl.core.program import (
    Block,
    Drop,
    ExpectLoss,
    Hold,
    LoadIs,
    Program,
    Ramp,
    Repeat,
    Rounding,
    Segment,
    Silence,
    Staircase,
    Starts,
    Target,
    Wait,
)
from benchctl.core.registers import Kind, Point, RegisterMap, Space
from benchctl.core.site import Endpoint, Instrument, Nameplate, Site, Unit, Wiring

SHARES = {
    "a": (1.0, 0.0, 0.0),
    "b": (0.0, 1.0, 0.0),
    "c": (0.0, 0.0, 1.0),
    "ab": (0.5, 0.5, 0.0),
    "bc": (0.0, 0.5, 0.5),
    "ca": (0.5, 0.0, 0.5),
    "abc": (1 / 3, 1 / 3, 1 / 3),
}
DOG = Watchdog(15.0, "any request")
POWER = Point("power_kw", Space.INPUT, 0, Kind.INT32)


def registers(reads: int = 1, *, turnaround_s: float = 0.02, gap_s: float = 0.0) -> RegisterMap:
    """A map that needs that many requests in every scan: points far apart with undeclared holes between."""
    points = tuple(Point("amps_a", Space.INPUT, 100 * i, Kind.INT16) for i in range(reads))
    return RegisterMap(points, turnaround_s=turnaround_s, gap_s=gap_s)


def profile(*kws: float, across: str = "abc", **changes: Any) -> Profile:
    """A staged profile, 400 V three-phase, fans on a supply of their own, with a watchdog, all well."""
    stages = tuple(
        Stage(
            f"stage {i + 1}",
            tuple(kw * s for s in SHARES[across]),  # type: ignore[arg-type]
            across,
            order=Point("order", Space.COIL, i, Kind.BIT, write_function=15),
        )
        for i, kw in enumerate(kws)
    )
    made = Profile(
        "invented",
        "Invented unit",
        400.0,
        3,
        "wye",
        (50.0, 60.0),
        registers(),
        stages,
        None,
        Fan(1.0, FanSupply.SEPARATE, flow_m3_s=3.0),
        DOG,
        CoolDown(),
        reports=frozenset({"power_kw"}),
    )
    return replace(made, **changes)


def unit(number: int, kind: Profile, endpoint: Endpoint | None = None) -> Unit:
    """A unit in its place."""
    return Unit(f"bank {number}", endpoint or Endpoint("127.0.0.1", 15000 + number), number, kind)


def meter(place: str = "source", **changes: Any) -> Instrument:
    """A calibrated meter with transformers of 800 A."""
    made = Instrument(
        f"{place} meter",
        "meter",
        place,
        Endpoint("127.0.0.1", 15900),
        1,
        "invented",
        registers(),
        ct_primary_a=800.0,
        ct_secondary_a=5.0,
        calibration_due="2030-01-01",
    )
    return replace(made, **changes)


PLATE = Nameplate("set", "generating set", 400.0, 500.0, 400.0, 50.0, Wiring.THREE_PHASE_4W, "COP")


def site(*kinds: Profile, **changes: Any) -> Site:
    """A 400 kW, 400 V, 50 Hz set with a source meter and these units; without any, five of 100 kW, finest 5 kW."""
    kinds = kinds or (profile(5.0, 5.0, 10.0, 20.0, 20.0, 40.0),) * 5
    made = Site("place", "An invented place", PLATE, tuple(unit(i + 1, k) for i, k in enumerate(kinds)), (meter(),))
    plate = {k: changes.pop(k) for k in list(changes) if k in Nameplate.__dataclass_fields__ and k != "name"}
    limits = {k: changes.pop(k) for k in list(changes) if k in type(made.limits).__dataclass_fields__}
    return replace(made, nameplate=replace(PLATE, **plate), limits=replace(made.limits, **limits), **changes)


def set_of(power_kw: float, unit_kw: float = 100.0, count: int = 0, step_kw: float = 5.0, **changes: Any) -> Site:
    """A set of that power with enough units of equal fine stages."""
    kind = profile(*([step_kw] * round(unit_kw / step_kw)))
    many = count or round(1.2 * power_kw / unit_kw)
    return site(*([kind] * many), power_kw=power_kw, apparent_kva=1.25 * power_kw, **changes)


def program(*segments: Segment, **changes: Any) -> Program:
    """A program of these segments, without check load."""
    return replace(Program("test", "A test", segments, check_load=False), **changes)


def kw(value: float) -> Target:
    """A target in kW."""
    return Target(value)


def percent(value: float) -> Target:
    """A target in percent of the nameplate."""
    return Target(value, percent=True)


def schedule(*parts: tuple[float, float]) -> Program:
    """Holds of (percent, hours), each reached at once."""
    return program(*(Hold(3600.0 * hours, percent(share)) for share, hours in parts))


# Hypothesis

TARGETS = st.builds(Target, st.floats(0.0, 600.0), st.just(value=False)) | st.builds(
    Target, st.floats(0.0, 200.0), st.just(value=True)
)
TIMES = st.sampled_from([0.0, 0.5, 1.0, 10.0, 59.9, 60.0, 600.0]) | st.floats(0.0, 7200.0)
PLAIN: st.SearchStrategy[Segment] = st.one_of(
    st.builds(Ramp, TARGETS, TIMES),
    st.builds(Hold, TIMES, st.none() | TARGETS, st.sampled_from(Starts), st.none() | st.floats(0.1, 20.0)),
    st.builds(Block, TARGETS, st.booleans()),
    st.builds(Drop),
    st.builds(Wait, st.just("Ready?"), TIMES, st.sampled_from(Silence)),
    st.builds(Staircase, TARGETS, TARGETS, st.integers(1, 12), TIMES, TIMES, st.sampled_from(Starts)),
    st.builds(ExpectLoss, TIMES, st.booleans(), st.floats(0.0, 60.0), st.floats(1.0, 100.0), st.floats(0.5, 30.0)),
)
SEGMENTS = PLAIN | st.builds(Repeat, st.integers(1, 4), st.lists(PLAIN, min_size=1, max_size=3).map(tuple))


@st.composite
def programs(draw: st.DrawFn) -> Program:
    """Any program."""
    return program(
        *draw(st.lists(SEGMENTS, max_size=6)),
        load_is=draw(st.sampled_from(LoadIs)),
        rounding=draw(st.sampled_from(Rounding)),
        trim=draw(st.booleans()),
        check_load=draw(st.booleans()),
        stage_check=draw(st.booleans()),
        source_cooldown_s=draw(st.none() | st.floats(0.0, 900.0)),
        reading_interval_s=draw(st.sampled_from([1.0, 60.0, 900.0])),
    )


@st.composite
def profiles(draw: st.DrawFn) -> Profile:
    """Any profile: staged or by set point, with and without watchdog, flow and three phases."""
    across = draw(st.sampled_from(list(SHARES)))
    kws = draw(st.lists(st.floats(0.5, 60.0), min_size=1, max_size=6))
    resolution_kw = draw(st.sampled_from([0.1, 1.0, 4.0, 7.5]))
    setpoint = SetPoint(resolution_kw * draw(st.integers(1, 50)), resolution_kw, draw(st.booleans()))
    staged = draw(st.booleans())
    return profile(
        *(kws if staged else ()),
        across=across,
        setpoint=None if staged else setpoint,
        name=draw(st.sampled_from(["one", "two"])),
        rated_v=draw(st.sampled_from([120.0, 230.0, 400.0, 415.0, 480.0, 690.0])),
        phases=draw(st.sampled_from([1, 3])),
        hertz=draw(st.sampled_from([(), (50.0,), (50.0, 60.0)])),
        watchdog=draw(
            st.sampled_from([None, DOG, Watchdog(10.0, "register", on_return="resumes"), Watchdog(1.0, "any write")])
        ),
        fan=Fan(
            draw(st.floats(0.0, 5.0)),
            draw(st.sampled_from(FanSupply)),
            flow_m3_s=draw(st.none() | st.floats(0.1, 10.0)),
        ),
        registers=registers(draw(st.integers(1, 4))),
        reports=draw(st.sampled_from([frozenset(), frozenset({"power_kw"})])),
    )


@st.composite
def sites(draw: st.DrawFn) -> Site:
    """Any site, gateways and single-phase sources included."""
    place = site(
        *draw(st.lists(profiles(), min_size=1, max_size=4)),
        power_kw=draw(st.floats(5.0, 3000.0)),
        wiring=draw(st.sampled_from(Wiring)),
        rating_class=draw(st.sampled_from(["", "COP", "PRP", "ESP", "DCP"])),
        kind=draw(st.sampled_from(["generating set", "ups", "supply"])),
        volts=draw(st.sampled_from([120.0, 230.0, 240.0, 400.0, 480.0])),
        altitude_m=draw(st.floats(-400.0, 4000.0)),
        site_load_reserve_kw=draw(st.sampled_from([0.0, 45.0])),
        scan_period_s=draw(st.sampled_from([None, 0.05, 0.5, 2.0])),
        instruments=draw(st.sampled_from([(), (meter(),), (meter("chain"),)])),
    )
    if draw(st.booleans()):
        shared = Endpoint("127.0.0.1", 15999, gateway=True)
        place = replace(place, units=tuple(replace(u, endpoint=shared) for u in place.units))
    return place
