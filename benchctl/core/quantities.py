"""The closed list of names that points in a register map may carry, with units. A profile may use no other name.

`roles` says where a name makes sense: `unit` (a load bank), `meter`, `panel` (the set's own panel, read only).
Stage points are not in this list: the profile's `stages` rows carry them (see `core/profile.py`).
"""

from benchctl.core.registers import Quantity

UNIT, METER, PANEL = ("unit",), ("unit", "meter"), ("panel",)

# fmt: off
QUANTITIES: tuple[Quantity, ...] = (
    # A unit's own state
    Quantity("remote", "", "1 when the unit takes orders from us, 0 when under its own panel", UNIT),
    Quantity("fan_on", "", "fan contactor is closed", UNIT),
    Quantity("fan_order", "", "what we last wrote to the fan", UNIT),
    Quantity("airflow", "", "airflow proof", UNIT),
    Quantity("fan_supply", "", "the fans' supply is present", UNIT),
    Quantity("emergency_stop", "", "the unit's emergency stop is operated", UNIT),
    Quantity("inlet_c", "degC", "air temperature at the inlet", UNIT),
    Quantity("exhaust_c", "degC", "air temperature at the exhaust", UNIT),
    Quantity("setpoint_kw", "kW", "set point of a unit that chooses its own stages, as written", UNIT),
    Quantity("setpoint_in_force_kw", "kW", "the set point the unit has accepted", UNIT),
    Quantity("stages_closed", "", "bit mask of stages read back closed", UNIT),
    Quantity("stages_order", "", "bit mask of stages as written", UNIT),
    Quantity("watchdog_feed", "", "register that feeds the watchdog", UNIT),
    Quantity("watchdog_s", "s", "the unit's watchdog time", UNIT),
    Quantity("uptime_s", "s", "seconds since the unit started; falls when it restarts", ("unit", "meter", "panel")),
    Quantity("rated_kw", "kW", "what the unit says it is rated at", UNIT),
    Quantity("rated_v", "V", "what the unit says it is rated at", UNIT),
    # Identity, of any device
    Quantity("serial", "", "serial number or asset text", ("unit", "meter", "panel")),
    Quantity("model_id", "", "type code", ("unit", "meter", "panel")),
    Quantity("firmware", "", "firmware version", ("unit", "meter", "panel")),
    Quantity("known_value", "", "a value that must read as the profile says", ("unit", "meter", "panel")),
    # Electrical measurement, of a meter or of a unit's own meter block
    *(Quantity(f"volts_{p}", "V", f"line-to-line volts {p.upper()}", METER) for p in ("ab", "bc", "ca")),
    *(Quantity(f"volts_{p}", "V", f"line-to-neutral volts {p.upper()}", METER) for p in "abc"),
    *(Quantity(f"amps_{p}", "A", f"amps of phase {p.upper()}", METER) for p in "abc"),
    *(Quantity(f"power_{p}_kw", "kW", f"active power of phase {p.upper()}", METER) for p in "abc"),
    Quantity("power_kw", "kW", "active power, all phases", METER),
    Quantity("reactive_kvar", "kvar", "reactive power, all phases", METER),
    Quantity("apparent_kva", "kVA", "apparent power, all phases", METER),
    Quantity("power_factor", "", "power factor, -1 to 1", METER),
    Quantity("hertz", "Hz", "frequency", METER),
    Quantity("energy_kwh", "kWh", "energy counter", METER),
    Quantity("refresh_count", "", "counter that moves at each fresh measurement", METER),
    # SunSpec scale factors (used by scale_from; no meaning of their own)
    *(Quantity(f"{p}_sf", "", "power-of-ten scale factor", METER)
      for p in ("amps", "volts", "hertz", "power", "va", "var", "pf", "energy")),
    # The set's own panel
    Quantity("speed_rpm", "rpm", "engine speed", PANEL),
    Quantity("oil_kpa", "kPa", "lube-oil pressure", PANEL),
    Quantity("coolant_c", "degC", "coolant temperature", PANEL),
    Quantity("fuel_percent", "%", "fuel in the tank", PANEL),
    Quantity("battery_v", "V", "starting battery", PANEL),
    Quantity("set_running", "", "the set reports that it runs", PANEL),
    Quantity("set_fault", "", "the set reports a shutdown fault", PANEL),
    # A contact or register that tells that the site needs the set for itself
    Quantity("site_needs_set", "", "the site needs the set: all load off at once", ("unit", "meter", "panel")),
)
# fmt: on

BY_NAME: dict[str, Quantity] = {q.name: q for q in QUANTITIES}
