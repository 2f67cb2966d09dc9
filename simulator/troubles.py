"""What is wrong with a unit at the moment: switched on and off by `faults`, felt by `unit`."""

from dataclasses import dataclass, field


@dataclass(slots=True)
class Troubles:
    """Everything off by default. Stages count from 0 here."""

    fan_failed: bool = False
    airflow_stuck: bool | None = None
    fan_supply_lost: bool = False
    will_not_close: set[int] = field(default_factory=set)
    will_not_open: set[int] = field(default_factory=set)
    blown: set[tuple[int, int]] = field(default_factory=set)  # (stage, phase)
    feedback_wrong: set[int] = field(default_factory=set)
    local: bool = False
    emergency_stop: bool = False
    overheated: bool = False
    mute: bool = False
    busy: int | None = None
    ignores_writes: bool = False
    refuses_writes: int | None = None
    swapped: bool = False
    sensor_lost: bool = False
    sensor_frozen_c: float | None = None
    watchdog_dead: bool = False
