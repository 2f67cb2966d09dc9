"""Which of a profile's fault bits are on.

Profiles name their bits freely, so the words of a bit's name and text tell what it means: the first row of which
all words occur counts. Bits without a row (a door, a filter) never come on here.
"""

import re
from collections.abc import Callable

from benchctl.core.profile import Profile
from simulator.unit import Bank

_MEANINGS: tuple[tuple[tuple[str, ...], Callable[[Bank], bool]], ...] = (
    (("sensor",), lambda b: b.trouble.sensor_lost),
    (("temperature",), lambda b: b.overheat_tripped),
    (("overheat",), lambda b: b.overheat_tripped),
    (("hot",), lambda b: b.overheat_tripped),
    (("fan", "supply"), lambda b: not b.fan_supply),
    (("fan",), lambda b: b.trouble.fan_failed and b.fan_on),
    (("airflow",), lambda b: b.air_tripped),
    (("air",), lambda b: b.air_tripped),
    (("watchdog",), lambda b: b.watchdog_expired),
    (("communication",), lambda b: b.watchdog_expired),
    (("emergency",), lambda b: b.trouble.emergency_stop),
    (("local",), lambda b: b.trouble.local),
    (("over", "voltage"), lambda b: b.over_volts),
    (("over", "volts"), lambda b: b.over_volts),
    (("stage", "follow"), lambda b: b.elements.astray),
    (("contactor",), lambda b: b.elements.astray),
)


def fault_tests(profile: Profile) -> tuple[Callable[[Bank], bool], ...]:
    """One test a fault bit, in the order of profile.faults."""
    return tuple(_meaning(set(re.findall("[a-z]+", f"{bit.name} {bit.text}".lower()))) for bit in profile.faults)


def _meaning(words: set[str]) -> Callable[[Bank], bool]:
    for needed, test in _MEANINGS:
        if words.issuperset(needed):
            return test
    return lambda _: False
