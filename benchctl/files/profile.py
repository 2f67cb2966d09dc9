"""A unit's profile: the file, its rules and the noun of `core/profile.py`."""

from typing import Annotated, Literal

from pydantic import Field

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
from benchctl.core.registers import RegisterMap
from benchctl.files.check import AtLeastZero, Celsius, Duration, Positive, Power, Report, Strict, Text
from benchctl.files.points import Reader, register_map
from benchctl.files.profile_rules import check_profile
from benchctl.files.rows import Link, Row
from benchctl.files.tree import Path

Across = Literal["abc", "a", "b", "c", "ab", "bc", "ca"]
Three = Annotated[list[AtLeastZero], Field(min_length=3, max_length=3)]


class Rated(Strict):
    """What the plate says."""

    volts: Positive
    phases: Literal[1, 3]
    connection: Literal["wye", "delta", "single"]
    hertz: Annotated[list[Positive], Field(min_length=1, max_length=4)]


class StageRow(Strict):
    """One contactor: power split evenly over `across`, or kW per phase."""

    name: Text
    power: Power | None = None
    phase_kw: Three | None = None
    across: Across = "abc"
    order: Text | None = None
    feedback: Text | None = None
    feedback_inverted: bool = False


class SetPointRow(Strict):
    """A unit that takes a kW. kw_are: actual kW, or kW at rated volts."""

    maximum: Power
    resolution: Power
    kw_are: Literal["actual", "rated"]
    ramp_kw_per_s: Positive | None = None
    drop: Duration = 1.0


class FanRow(Strict):
    """The fans."""

    power: Power
    supply: Literal["separate", "source"]
    controllable: bool = True
    proof: Duration = 10.0
    flow_m3_s: Positive | None = None


class WatchdogRow(Strict):
    """The unit's own timer."""

    time: Duration
    fed_by: Literal["any request", "any write", "register"]
    feed_every: Duration = 5.0
    on_return: Literal["stays off", "resumes"] = "stays off"


class CoolDownRow(Strict):
    """What is owed after load."""

    minimum: Duration = 300.0
    margin_k: Positive = 10.0
    near: Duration = 30.0
    reference: Literal["inlet", "ambient", "none"] = "inlet"
    alarm: Duration = 900.0


class FaultRow(Strict):
    """A status bit and what we do about it."""

    name: Text
    text: Text
    at: Text
    inverted: bool = False
    reaction: Literal["note", "alarm", "hold", "unit off", "unload", "drop"]


class SimulatedRow(Strict):
    """Physics for the simulator."""

    contactor: Duration = 0.04
    contactor_spread: Duration = 0.02
    fan_spin_up: Duration = 3.0
    fan_spin_down: Duration = 4.0
    element_tau: Duration = 20.0
    sensor_tau: Duration = 8.0
    flow_m3_s: Positive = 4.0
    still_air_tau: Duration = 600.0
    dead_time: Duration = 0.02


class UnitFile(Strict):
    """The profile of a type of load bank: its data sheet as data."""

    title: Text
    rated: Rated
    link: Link
    stages: Annotated[list[StageRow], Field(min_length=1, max_length=32)] | None = None
    stages_written_with: Literal[5, 15] = 5
    setpoint: SetPointRow | None = None
    fan: FanRow
    watchdog: WatchdogRow | None = None
    cooldown: CoolDownRow = CoolDownRow()
    faults: Annotated[list[FaultRow], Field(max_length=64)] = Field(default_factory=list)
    highest_volts_percent: Annotated[float, Field(ge=100, le=125)] = 110.0
    follow: Duration = 2.0
    exhaust_trip_c: Celsius = 250.0
    expected_rise_k: Positive | None = None
    meter_refresh: Duration = 1.0
    points: dict[str, Row]
    known: list[Row] = Field(default_factory=list)
    simulated: SimulatedRow | None = None


def profile_of(report: Report) -> Profile:
    """The noun of a profile's file. Raises FileFault with every flaw."""
    file = report.read(UnitFile)
    reader = Reader(report, file.link)
    registers = register_map(reader, file.points, file.known, "unit")
    stages = tuple(_stage(reader, file, row, i) for i, row in enumerate(file.stages or ()))
    faults = tuple(_fault(reader, row, i) for i, row in enumerate(file.faults))
    check_profile(report, file, registers)
    report.settle()
    return Profile(
        name=report.source.name,
        title=file.title,
        rated_v=file.rated.volts,
        phases=file.rated.phases,
        connection=file.rated.connection,
        hertz=tuple(file.rated.hertz),
        registers=registers,
        stages=stages,
        setpoint=_setpoint(file.setpoint),
        fan=_fan(file.fan),
        watchdog=_watchdog(file.watchdog),
        cooldown=CoolDown(
            file.cooldown.minimum,
            file.cooldown.margin_k,
            file.cooldown.near,
            file.cooldown.reference,
            file.cooldown.alarm,
        ),
        faults=faults,
        highest_v_ratio=file.highest_volts_percent / 100.0,
        follow_s=file.follow,
        exhaust_trip_c=file.exhaust_trip_c,
        expected_rise_k=file.expected_rise_k,
        meter_refresh_s=file.meter_refresh,
        reports=reports(registers),
        simulated=_simulated(file.simulated),
    )


def reports(registers: RegisterMap) -> frozenset[str]:
    """Names of the quantities that a map can read (scale factors and known values are none)."""
    return frozenset(p.name for p in registers.points if not p.name.endswith("_sf") and p.name != "known_value")


def shares(row: StageRow) -> tuple[float, float, float]:
    """kW of phases A, B, C; the parts sum to the stage's power exactly."""
    if row.phase_kw is not None:
        return row.phase_kw[0], row.phase_kw[1], row.phase_kw[2]
    power, phases = row.power or 0.0, ["abc".index(letter) for letter in row.across]
    parts = [power / len(phases) if i in phases else 0.0 for i in range(3)]
    last = max(phases)
    parts[last] = power - sum(part for i, part in enumerate(parts) if i != last)
    return parts[0], parts[1], parts[2]


def _stage(reader: Reader, file: UnitFile, row: StageRow, index: int) -> Stage:
    path: Path = ("stages", index)
    order = reader.bit(row.name, row.order, (*path, "order"), file.stages_written_with) if row.order else None
    back = (
        reader.bit(row.name, row.feedback, (*path, "feedback"), None, row.feedback_inverted) if row.feedback else None
    )
    return Stage(row.name, shares(row), row.across, order, back)


def _fault(reader: Reader, row: FaultRow, index: int) -> FaultBit:
    point = reader.bit(row.name, row.at, ("faults", index, "at"), inverted=row.inverted)
    if point is None:
        reader.report.settle()
        raise AssertionError("a flaw was told")
    return FaultBit(row.name, row.text, point, Reaction(row.reaction.replace(" ", "_")))


def _setpoint(row: SetPointRow | None) -> SetPoint | None:
    return (
        None
        if row is None
        else SetPoint(row.maximum, row.resolution, row.kw_are == "actual", row.ramp_kw_per_s, row.drop)
    )


def _fan(row: FanRow) -> Fan:
    return Fan(row.power, FanSupply(row.supply), row.controllable, row.proof, row.flow_m3_s)


def _watchdog(row: WatchdogRow | None) -> Watchdog | None:
    return None if row is None else Watchdog(row.time, row.fed_by, row.feed_every, row.on_return)


def _simulated(row: SimulatedRow | None) -> Simulated | None:
    return (
        None
        if row is None
        else Simulated(
            row.contactor,
            row.contactor_spread,
            row.fan_spin_up,
            row.fan_spin_down,
            row.element_tau,
            row.sensor_tau,
            row.flow_m3_s,
            row.still_air_tau,
            row.dead_time,
        )
    )
