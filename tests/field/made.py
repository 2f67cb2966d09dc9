"""Devices made for these tests from nouns alone."""

from dataclasses import replace

from benchctl.core.profile import CoolDown, Fan, FanSupply, FaultBit, Profile, Reaction, SetPoint, Stage, Watchdog
from benchctl.core.registers import Kind, Point, RegisterMap, Space
from benchctl.core.site import Endpoint, Instrument, Nameplate, Site, Unit, Wiring
from benchctl.field.answer import Answer, Got

H, C, D = Space.HOLDING, Space.COIL, Space.DISCRETE
PLATE = Nameplate("set", "generating set", 400.0, 500.0, 400.0, 50.0, Wiring.THREE_PHASE_4W)


def ok(*words: int, holes: tuple[int, ...] = ()) -> Answer:
    """A good answer."""
    return Answer(Got.OK, words, holes=holes)


def profile(points: tuple[Point, ...] = (), **changes: object) -> Profile:
    """A profile without stages, to be changed."""
    made = Profile(
        "made",
        "made for tests",
        400.0,
        3,
        "wye",
        (50.0,),
        RegisterMap(points),
        (),
        None,
        Fan(1.0, FanSupply.SEPARATE),
        None,
        CoolDown(),
    )
    return replace(made, **changes)  # type: ignore[arg-type]


def coil_stages(count: int, function: int = 5, first: int = 0) -> tuple[Stage, ...]:
    """Stages of 10 kW with a coil each and a discrete input that reads it back."""
    return tuple(
        Stage(
            f"s{i}",
            (10 / 3, 10 / 3, 10 / 3),
            order=Point(f"s{i}", C, first + i, Kind.BIT, write_function=function),
            feedback=Point(f"s{i}", D, first + i, Kind.BIT),
        )
        for i in range(count)
    )


def coil_bank(count: int = 4, function: int = 5, **changes: object) -> Profile:
    """A unit with coils for stages and fan, register 0 as its set of figures."""
    return profile(
        (
            Point("fan_order", C, 16, Kind.BIT, write_function=5),
            Point("exhaust_c", H, 0, Kind.INT16, scale=0.1),
            Point("uptime_s", H, 1, Kind.UINT16),
        ),
        **{"stages": coil_stages(count, function), "watchdog": Watchdog(10.0, "any write"), **changes},
    )


def mask_bank(**changes: object) -> Profile:
    """A unit with a mask register."""
    return profile(
        (
            Point("stages_order", H, 0, Kind.UINT16, write_function=6),
            Point("fan_order", H, 1, Kind.UINT16, write_function=6),
            Point("watchdog_feed", H, 2, Kind.UINT16, write_function=6),
            Point("stages_closed", H, 3, Kind.UINT16),
        ),
        **{
            "stages": tuple(Stage(f"s{i}", (10 / 3, 10 / 3, 10 / 3)) for i in range(4)),
            "watchdog": Watchdog(10.0, "register"),
            **changes,
        },
    )


def setpoint_bank(**changes: object) -> Profile:
    """A unit that takes kW, in tenths, and chooses its own stages."""
    return profile(
        (
            Point("setpoint_kw", H, 0, Kind.UINT16, scale=0.1, write_function=16),
            Point("setpoint_in_force_kw", H, 1, Kind.UINT16, scale=0.1),
        ),
        **{"setpoint": SetPoint(80.0, 4.0, actual=True), **changes},
    )


HERE, METER_HERE = Endpoint("127.0.0.1", 502), Endpoint("127.0.0.1", 503)


def unit(made: Profile, endpoint: Endpoint = HERE, unit_id: int = 1, name: str = "bank 1") -> Unit:
    """A unit in its place."""
    return Unit(name, endpoint, unit_id, made)


def meter(*points: Point, endpoint: Endpoint = METER_HERE, **changes: object) -> Instrument:
    """A meter at the source."""
    made = Instrument("meter", "meter", "source", endpoint, 1, "made", RegisterMap(points))
    return replace(made, **changes)  # type: ignore[arg-type]


def site(*units: Unit, instruments: tuple[Instrument, ...] = ()) -> Site:
    """A site around devices."""
    return Site("here", "here", PLATE, units, instruments)


def fault_bits(*points: Point) -> tuple[FaultBit, ...]:
    """Faults for status bits."""
    return tuple(FaultBit(p.name, p.name, p, Reaction.ALARM) for p in points)
