"""What a unit's profile must have beyond its form: without these the bench could not load the unit safely."""

from typing import TYPE_CHECKING

from benchctl.core.registers import Kind, RegisterMap
from benchctl.files.check import Report
from benchctl.files.tree import Path

if TYPE_CHECKING:
    from benchctl.files.profile import SetPointRow, StageRow, UnitFile

COOLDOWN_FLOOR_S = 30.0


def check_profile(report: Report, file: "UnitFile", registers: RegisterMap) -> None:
    """Tell every rule that the profile breaks."""
    if (file.stages is None) == (file.setpoint is None):
        report.at((), "a unit has either 'stages' (we switch them) or 'setpoint' (the unit does), and not both")
    elif file.stages is not None:
        _stages(report, file, file.stages, registers)
    elif file.setpoint is not None:
        _setpoint(report, file.setpoint, registers)
    _rated(report, file)
    _fan_and_air(report, file, registers)
    _watchdog(report, file, registers)
    _cooldown(report, file, registers)
    _unique(report, [f.name for f in file.faults], "faults")


def _need(report: Report, registers: RegisterMap, name: str, why: str, written: bool = False) -> None:
    """The map must have the point (and, if written, say by which function)."""
    point = registers.point(name)
    if point is None:
        if not report.tree.find(("points", name))[1]:  # a row that is there but wrong was told already
            report.at(("points",), f"the point '{name}' is missing here: {why}", key=True)
    elif written and point.write_function is None:
        report.at(("points", name), f"'{name}' is written to: say by which function (write: 5, 6, 15 or 16)", key=True)


def _stages(report: Report, file: "UnitFile", rows: "list[StageRow]", registers: RegisterMap) -> None:
    _unique(report, [row.name for row in rows], "stages")
    for name, column in (
        ("stages_order", [r.order for r in rows]),
        ("stages_closed", [r.feedback for r in rows]),
    ):
        key = "order" if name == "stages_order" else "feedback"
        if all(column) != any(column):
            report.at(
                ("stages", column.index(None)),
                f"key '{key}' is missing here: all stages have one, or none and the point '{name}' is a mask of them",
            )
        elif not any(column):
            _need(report, registers, name, f"the stages have no '{key}' of their own", written=key == "order")
        elif registers.point(name):
            report.at(
                ("points", name),
                f"the stages have each their '{key}': a mask besides would be a second truth",
                key=True,
            )
        mask = registers.point(name)
        if mask and (mask.kind not in (Kind.UINT16, Kind.UINT32) or 16 * mask.words < len(rows)):
            report.at(
                ("points", name),
                f"a mask of {len(rows)} stages is a uint16 or uint32 with a bit for each",
                key=True,
            )
    for i, row in enumerate(rows):
        _stage(report, row, ("stages", i), file.rated.phases)


def _stage(report: Report, row: "StageRow", path: Path, phases: int) -> None:
    if (row.power is None) == (row.phase_kw is None):
        report.at(path, "a stage has either 'power' or 'phase_kw', and not both")
    elif not (row.power or sum(row.phase_kw or ())):
        report.at(path, "a stage of 0 kW is none")
    if row.order and not ("coil" in row.order or row.order.startswith("0")):
        report.at(
            (*path, "order"),
            f"'{row.order}' is no coil; stages behind one register are a mask, the point stages_order",
        )
    if phases == 1 and row.across not in ("a", "b", "c"):
        report.at(
            (*path, "across") if row.across != "abc" else path,
            "a single-phase unit's stage is across a, b or c",
        )


def _setpoint(report: Report, row: "SetPointRow", registers: RegisterMap) -> None:
    _need(report, registers, "setpoint_kw", "the unit is loaded by it", written=True)
    _need(report, registers, "setpoint_in_force_kw", "without it nobody knows what the unit has accepted")
    size, step = row.maximum, row.resolution
    if step <= 0 or size <= 0 or abs(size / step - round(size / step)) > 1e-9:
        report.at(("setpoint", "resolution"), f"{size:g} kW is no whole number of steps of {step:g} kW")


def _rated(report: Report, file: "UnitFile") -> None:
    if (file.rated.phases == 1) != (file.rated.connection == "single"):
        report.at(
            ("rated", "connection"),
            f"found '{file.rated.connection}' with {file.rated.phases} phases, "
            "expected wye or delta for three phases and single for one",
        )


def _fan_and_air(report: Report, file: "UnitFile", registers: RegisterMap) -> None:
    _need(report, registers, "airflow", "no stage may close before airflow is proven")
    if file.fan.controllable:
        _need(report, registers, "fan_order", "the fan is ours to switch (fan.controllable)", written=True)
        _need(report, registers, "fan_on", "a fan that is ordered must be seen to run")
    elif registers.point("fan_order"):
        report.at(("points", "fan_order"), "the unit runs its fans by itself (fan.controllable: false)", key=True)
    if not registers.point("remote"):
        _need(report, registers, "remote", "a unit under its own panel takes no orders")
    if not 0 < file.fan.proof <= 120:
        report.at(("fan", "proof"), f"found {file.fan.proof:g} s, expected more than 0 and at most 120 s")


def _watchdog(report: Report, file: "UnitFile", registers: RegisterMap) -> None:
    dog = file.watchdog
    if dog is None:
        return
    if not 0 < dog.feed_every <= dog.time / 2:
        report.at(
            ("watchdog", "feed_every"),
            f"found {dog.feed_every:g} s, expected at most half of the watchdog's "
            f"{dog.time:g} s: one lost feed must not drop the load",
        )
    if dog.fed_by == "register":
        _need(report, registers, "watchdog_feed", "the watchdog is fed by a register", written=True)


def _cooldown(report: Report, file: "UnitFile", registers: RegisterMap) -> None:
    if file.cooldown.minimum < COOLDOWN_FLOOR_S:
        report.at(
            ("cooldown", "minimum"),
            f"found {file.cooldown.minimum:g} s, expected at least {COOLDOWN_FLOOR_S:g} s: "
            "hot elements need air whatever the sensor says",
        )
    if file.cooldown.reference != "none":
        _need(report, registers, "exhaust_c", "cool-down compares it (or say cooldown: {reference: none})")
    if file.cooldown.reference == "inlet":
        _need(report, registers, "inlet_c", "cool-down compares the exhaust with it (or say reference: ambient)")
    if file.cooldown.alarm <= file.cooldown.minimum:
        report.at(
            ("cooldown", "alarm"),
            f"found {file.cooldown.alarm:g} s, expected more than the minimum of {file.cooldown.minimum:g} s",
        )


def _unique(report: Report, names: list[str], key: str) -> None:
    for i, name in enumerate(names):
        if name in names[:i]:
            report.at((key, i, "name"), f"'{name}' is the name of number {names.index(name) + 1} too")
