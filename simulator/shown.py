"""What a map lets a device show of what is known, for the chain without bytes."""

from collections.abc import Callable

from benchctl.core.reading import NO_ELECTRICAL, NONE3, Electrical
from benchctl.core.registers import RegisterMap
from simulator.meter import Figures
from simulator.nouns import maker

_electrical = maker(Electrical)


def reportable(registers: RegisterMap) -> Callable[[str], bool]:
    """Whether a map tells a value of that name; a map without any point counts as able to tell everything."""
    names = {p.name for p in registers.points}
    return lambda name: not names or name in names


def shower(has: Callable[[str], bool]) -> Callable[[Figures], Electrical]:
    """A meter's figures without what a map cannot tell, nor hertz where there are no volts: one object a sample."""
    ll, ln, amps, phase_kw, power, reactive, factor, hertz, energy, count = (
        has(n)
        for n in (
            "volts_ab",
            "volts_a",
            "amps_a",
            "power_a_kw",
            "power_kw",
            "reactive_kvar",
            "power_factor",
            "hertz",
            "energy_kwh",
            "refresh_count",
        )
    )

    last: Figures | None = None
    last_shown = NO_ELECTRICAL

    def shown(f: Figures) -> Electrical:
        nonlocal last, last_shown
        if f is last:
            return last_shown
        last = f
        # Without volts a meter's registers say 0 Hz; a reading says that it is not known.
        last_shown = _electrical(
            f[0:3] if ll else NONE3,
            f[3:6] if ln else NONE3,
            f[6:9] if amps else NONE3,
            f[9:12] if phase_kw else NONE3,
            f[12] if power else None,
            f[13] if reactive else None,
            f[15] if factor else None,
            (f[16] or None) if hertz else None,
            f[17] if energy else None,
            f[19] if count else None,
        )
        return last_shown

    return shown
