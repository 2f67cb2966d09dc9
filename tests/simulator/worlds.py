"""Small invented sites for the simulator's tests."""

from dataclasses import replace

from benchctl.core.profile import (
    CoolDown,
    Fan,
    FanSupply,
    FaultBit,
    Profile,
    Reaction,
    SetPoint,
    Simulated,
    Stage,
    Watchdog,
)
from benchctl.core.registers import Kind, Order, Point, RegisterMap, Space, Span
from benchctl.core.scenario import Fault, Scenario
from benchctl.core.site import Endpoint, Instrument, Nameplate, Simulation, Site, Unit, Wiring
from simulator.bench import Bench

HOLDING, INPUT = Space.HOLDING, Space.INPUT
STAGE_KW = (4.0, 8.0, 8.0, 20.0)

MAP = RegisterMap(
    points=(
        Point("stages_order", HOLDING, 0, Kind.UINT16, write_function=6),
        Point("fan_order", HOLDING, 1, Kind.UINT16, write_function=6),
        Point("watchdog_feed", HOLDING, 9, Kind.UINT16, write_function=6),
        Point("stages_closed", INPUT, 0, Kind.UINT16),
        Point("fan_on", INPUT, 1, Kind.BIT, bit=0),
        Point("airflow", INPUT, 1, Kind.BIT, bit=1),
        Point("remote", INPUT, 1, Kind.BIT, bit=2),
        Point("emergency_stop", INPUT, 1, Kind.BIT, bit=3),
        Point("fan_supply", INPUT, 1, Kind.BIT, bit=4),
        Point("site_needs_set", INPUT, 1, Kind.BIT, bit=5),
        Point("exhaust_c", INPUT, 2, Kind.INT16, scale=0.1),
        Point("inlet_c", INPUT, 3, Kind.INT16, scale=0.1),
        Point("uptime_s", INPUT, 4, Kind.UINT32),
        Point("serial", INPUT, 10, Kind.TEXT, length=5, once=True),
        Point("power_kw", INPUT, 20, Kind.FLOAT32, Order.CDAB),
        Point("volts_ab", INPUT, 22, Kind.FLOAT32, Order.CDAB),
        Point("hertz", INPUT, 24, Kind.FLOAT32, Order.CDAB),
        Point("energy_kwh", INPUT, 26, Kind.FLOAT32, Order.CDAB),
        Point("refresh_count", INPUT, 28, Kind.UINT16),
    ),
    readable=(Span(INPUT, 0, 14), Span(INPUT, 20, 28)),
)
METER_MAP = RegisterMap(
    points=tuple(
        Point(name, INPUT, 2 * i, Kind.FLOAT32)
        for i, name in enumerate(
            (
                "power_kw",
                "volts_ab",
                "volts_bc",
                "volts_ca",
                "volts_a",
                "amps_a",
                "amps_b",
                "amps_c",
                "power_a_kw",
                "power_b_kw",
                "power_c_kw",
                "hertz",
                "energy_kwh",
                "reactive_kvar",
            )
        )
    )
)
FAULT_BITS = (
    FaultBit(
        "over_temperature", "exhaust too hot", Point("over_temperature", INPUT, 5, Kind.BIT, bit=0), Reaction.UNIT_OFF
    ),
    FaultBit("airflow_lost", "no airflow", Point("airflow_lost", INPUT, 5, Kind.BIT, bit=1), Reaction.UNIT_OFF),
    FaultBit("watchdog", "watchdog expired", Point("watchdog", INPUT, 5, Kind.BIT, bit=2), Reaction.ALARM),
)
# FAULT_BITS share a register of their own; the uptime lies behind it.
MAP = replace(MAP, points=tuple(replace(p, address=6) if p.name == "uptime_s" else p for p in MAP.points))
QUICK = Simulated(flow_m3_s=1.5)


def stage(name: str, kw: float, across: str = "abc") -> Stage:
    """A balanced stage."""
    shares = {"abc": (1 / 3, 1 / 3, 1 / 3), "a": (1.0, 0.0, 0.0), "ab": (0.5, 0.5, 0.0)}[across]
    return Stage(name, (kw * shares[0], kw * shares[1], kw * shares[2]), across)


def profile(**changes: object) -> Profile:
    """A 40 kW unit with four stages, a mask register, a watchdog fed by any request."""
    base = Profile(
        "test-40",
        "Test unit 40 kW",
        400.0,
        3,
        "wye",
        (50.0,),
        MAP,
        tuple(stage(f"stage {i + 1}", kw) for i, kw in enumerate(STAGE_KW)),
        None,
        Fan(1.5, FanSupply.SEPARATE),
        Watchdog(15.0, "any request"),
        CoolDown(),
        FAULT_BITS,
        simulated=QUICK,
    )
    return replace(base, **changes)  # type: ignore[arg-type]


def setpoint_profile(**changes: object) -> Profile:
    """An 80 kW unit that takes a set point in steps of 5 kW."""
    point = SetPoint(80.0, 5.0, actual=bool(changes.pop("actual", False)), ramp_kw_per_s=changes.pop("ramp", None))  # type: ignore[arg-type]
    points = (
        *(p for p in MAP.points if not p.name.startswith("stages")),
        Point("setpoint_kw", HOLDING, 0, Kind.UINT16, write_function=6),
        Point("setpoint_in_force_kw", INPUT, 0, Kind.UINT16),
    )
    return profile(name="test-80", stages=(), setpoint=point, registers=replace(MAP, points=points), **changes)


def site(
    *profiles: Profile,
    wiring: Wiring = Wiring.THREE_PHASE_4W,
    gateway: bool = False,
    kind: str = "generating set",
    **simulation: float,
) -> Site:
    """A 400 kW, 400 V, 50 Hz source with those units and a meter at source, chain and site load."""
    ends = [Endpoint("127.0.0.1", 15000 if gateway else 15000 + i, gateway) for i in range(len(profiles))]
    meters = [
        Instrument(name, "meter", place, Endpoint("127.0.0.1", 15100 + i), 1, "test-meter", METER_MAP)
        for i, (name, place) in enumerate(
            (("source meter", "source"), ("chain meter", "chain"), ("site meter", "site load"))
        )
    ]
    return Site(
        "test",
        "Test",
        Nameplate("set", kind, 400.0, 500.0, 400.0, 50.0, wiring),
        tuple(Unit(f"bank {i + 1}", ends[i], i + 1 if gateway else 1, p) for i, p in enumerate(profiles)),
        tuple(meters),
        simulation=Simulation(**simulation),
    )


def bench(*profiles: Profile, faults: tuple[Fault, ...] = (), seed: int = 0, **more: object) -> Bench:
    """A bench of `site(...)` with faults."""
    return Bench(site(*(profiles or (profile(),)), **more), Scenario(faults=faults), seed)  # type: ignore[arg-type]


def loaded(world: Bench, load: int = 0b1111, at_s: float = 5.0) -> Bench:
    """Fans on, airflow proven, load ordered and closed, by at_s + 1."""
    for bank in world.banks:
        bank.order_fan(True)
    world.advance(at_s)
    for bank in world.banks:
        bank.order_load(load)
    world.advance(at_s + 1.0)
    return world
