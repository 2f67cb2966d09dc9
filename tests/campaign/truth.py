"""What is physically true at one moment, as plain values: taken from the simulated world, never from the product."""

from dataclasses import dataclass

from simulator.bench import Bench

WRITING = frozenset(
    {"mute", "busy", "ignores writes", "refuses writes", "local", "emergency stop", "restarts", "swapped",
     "other master", "contactor will not open", "contactor will not close", "feedback wrong", "cut", "refuses",
     "delay", "loses replies", "garbles replies"}
)  # fmt: skip
"""Faults with which a unit does not hear, or does not do, all that it is told."""
DEAF = frozenset({"mute", "cut", "refuses"})
"""Faults with which a unit cannot be heard at all."""
ASTRAY = frozenset(
    {
        "other master",
        "feedback wrong",
        "ignores writes",
        "contactor will not close",
        "contactor will not open",
        "swapped",
    }
)
"""Faults with which what stands ordered in a unit is not what the bench can know."""
SOURCE = frozenset({"volts sag", "hertz low", "phase lost", "source stops", "power limited", "site needs the set"})


@dataclass(frozen=True, slots=True)
class Fact:
    """One unit. order, closed: bit mask of stages, or steps; order_kw, closed_kw at rated volts; air: enough of it."""

    order: int
    closed: int
    order_kw: float
    closed_kw: float
    fan_ordered: bool
    air: bool
    exhaust_c: float
    element_c: float
    inlet_c: float


@dataclass(frozen=True, slots=True)
class Truth:
    """The world. faults in force: (name, unit, instrument, "source" or socket). volts, hertz: shares of rated."""

    t: float
    units: tuple[Fact, ...]
    source_kw: float
    site_kw: float
    volts: float
    hertz: float
    faults: frozenset[tuple[str, str]]


def look(bench: Bench) -> Truth:
    """What is true now."""
    units = []
    for bank in bench.banks:
        elements, heat, point = bank.elements, bank.heat, bank.profile.setpoint
        kw = [s.power_kw for s in bank.profile.stages]
        order, closed = (_kw(x, kw, point.resolution_kw if point else 0.0) for x in (elements.order, elements.closed))
        units.append(
            Fact(elements.order, elements.closed, order, closed, bank.fan_order, bank.fan.proven(bank.now_s),
                 heat.exhaust_c, heat.element_c, heat.inlet_c)
        )  # fmt: skip
    source = bench.truth()["source"]
    faults = frozenset((f.fault, f.on) for f in bench.in_force)
    volts = source["volts"] / bench.site.nameplate.volts
    hertz = source["hertz"] / bench.site.nameplate.hertz
    return Truth(bench.now_s, tuple(units), source["kw"], bench.site_kw, volts, hertz, faults)


def _kw(load: int, stages: list[float], step_kw: float) -> float:
    return sum(kw for i, kw in enumerate(stages) if load >> i & 1) if stages else load * step_kw
