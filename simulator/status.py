"""Which of a profile's fault bits are on.

Profiles name their bits freely, so a word in the name tells what they mean.
"""

from collections.abc import Callable

from benchctl.core.profile import Profile
from simulator.unit import Bank

# The first row whose words are all in a bit's name tells its meaning; bits without a row never come on.
_MEANINGS: tuple[tuple[tuple[str, ...], Callable[[Bank], bool]], ...] = (
    (("temperature",), lambda b: b.overheat_tripped),
    (("overheat",), lambda b: b.overheat_tripped),
    (("hot",), lambda b: b.overheat_tripped),
    (("sensor",), lambda b: b.trouble.sensor_lost),
    (("air",), lambda b: b.air_tripped),
    (("fan", "supply"), lambda b: not b.fan_supply),
    (("fan",), lambda b: b.trouble.fan_failed and b.fan_on),
    (("watchdog",), lambda b: b.watchdog_expired),
    (("communication",), lambda b: b.watchdog_expired),
    (("contact", "lost"), lambda b: b.watchdog_expired),
    (("emergency",), lambda b: b.trouble.emergency_stop),
    (("local",), lambda b: b.trouble.local),
    (("contactor",), lambda b: bool(b.trouble.will_not_open & _closed(b))),
    (("volts",), lambda b: not b.supply_ok),
)


def _closed(bank: Bank) -> set[int]:
    pending = getattr(bank.elements, "pending", bank.elements.closed)
    return {i for i in range(len(bank.profile.stages)) if bank.elements.closed >> i & 1 and not pending >> i & 1}


def fault_tests(profile: Profile) -> tuple[Callable[[Bank], bool], ...]:
    """One test a fault bit, in the order of profile.faults."""
    return tuple(_meaning(f"{bit.name} {bit.text}".lower()) for bit in profile.faults)


def _meaning(words: str) -> Callable[[Bank], bool]:
    for needed, test in _MEANINGS:
        if all(word in words for word in needed):
            return test
    return lambda _: False
