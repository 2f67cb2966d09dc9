"""Durations, powers and shares as people write them: a number and its unit. Pure; exact decimal arithmetic.

A bare number is refused on purpose: nobody can tell whether `hold: 90` is seconds or minutes, or whether
`1:30` is minutes or hours.
"""

import re
from collections.abc import Mapping
from decimal import Decimal

from benchctl.files.fault import nearest, quoted

SECONDS = {"ms": Decimal("0.001"), "s": Decimal(1), "min": Decimal(60), "h": Decimal(3600)}
KILOWATTS = {"W": Decimal("0.001"), "kW": Decimal(1), "MW": Decimal(1000)}
KILOVOLTAMPERES = {"VA": Decimal("0.001"), "kVA": Decimal(1), "MVA": Decimal(1000)}
PERCENT = {"%": Decimal(1)}
LONGEST_S = 31 * 86400
LARGEST = Decimal(10_000_000)

NUMBER = r"[0-9]{1,12}(?:\.[0-9]{1,9})?"
ONE = re.compile(rf"({NUMBER}) ?([A-Za-z%µ°]+)")
DURATION_PATTERN = rf"^{NUMBER} ?(ms|s|min|h)( {NUMBER} ?(ms|s|min))*$"
CLOCK = re.compile(r"([0-9]{1,3}):([0-9]{2})(:[0-9]{2})?")


def amount(value: object, units: Mapping[str, Decimal], what: str, example: str) -> tuple[Decimal, str]:
    """Number in the base unit, and the unit written. Raises ValueError with a sentence for people."""
    text = str(getattr(value, "written", value)).strip()
    found = ONE.fullmatch(text)
    if found and found[2] in units:
        size = Decimal(found[1]) * units[found[2]]
        if size > LARGEST:
            raise ValueError(f"{quoted(text)} is more than any {what} here")
        return size, found[2]
    if found and what == "load" and found[2].lower() in ("var", "kvar", "mvar", "va", "kva", "mva"):
        raise ValueError(f"{quoted(text)}: load banks here are resistors, they cannot give reactive load: say kW or %")
    if found:
        raise ValueError(f"{quoted(text)}: '{found[2][:20]}' is no unit of {what}{_unit_hint(found[2], units)}")
    raise ValueError(_complaint(value, text, what, example))


def _unit_hint(word: str, units: Mapping[str, Decimal]) -> str:
    same = [unit for unit in units if unit.lower() == word.lower()]
    return f", did you mean '{same[0]}'?" if same else nearest(word, units)


def _complaint(value: object, text: str, what: str, example: str) -> str:
    if value is None:
        return f"nothing is written here, expected a {what} such as {example}"
    if isinstance(value, bool) or not isinstance(value, (str, int, float)):
        return f"expected a {what} such as {example}"
    if re.match(r"[-−]", text):
        return f"{quoted(text)} is negative, expected a {what} such as {example}"
    if re.fullmatch(r"[0-9]+,[0-9]+( ?\S+)?", text):
        return f"{quoted(text)}: write a decimal point, as in {example}"
    if re.fullmatch(NUMBER, text):
        return f"{quoted(text)} has no unit, expected a {what} such as {example}"
    return f"{quoted(text)} is no {what}, expected for instance {example}"


def duration_s(value: object) -> float:
    """Seconds of `15 min`, `90 s`, `1 h 30 min`; each unit once, larger units first. Raises ValueError."""
    text = str(getattr(value, "written", value)).strip()
    clock = CLOCK.fullmatch(text)
    if clock:
        first, second = int(clock[1]), int(clock[2])
        raise ValueError(
            f"{quoted(text)} can be read in two ways: say {first} min {second} s or {first} h {second} min"
        )
    if isinstance(value, str):
        parts = ONE.findall(text)
        if len(parts) > 1 and re.fullmatch(rf"{ONE.pattern}( {ONE.pattern})*", text):
            return _sum_of(parts, text)
        if re.fullmatch(rf"{NUMBER} ?m", text):
            raise ValueError(f"{quoted(text)}: 'm' may be minutes or metres, say 'min'")
    seconds, _ = amount(value, SECONDS, "duration", "90 s or 1 h 30 min")
    return _bounded(seconds, text)


def _sum_of(parts: list[tuple[str, str]], text: str) -> float:
    sizes = []
    for number, unit in parts:
        if unit not in SECONDS:
            raise ValueError(f"{quoted(text)}: '{unit[:20]}' is no unit of duration{_unit_hint(unit, SECONDS)}")
        sizes.append(SECONDS[unit])
        if "." in number and len(sizes) < len(parts):
            raise ValueError(f"{quoted(text)}: only the last part of a duration may have a fraction")
    if sizes != sorted(set(sizes), reverse=True):
        raise ValueError(f"{quoted(text)}: write each unit once and the larger one first, as in 1 h 30 min")
    return _bounded(sum((Decimal(n) * SECONDS[u] for n, u in parts), Decimal(0)), text)


def _bounded(seconds: Decimal, text: str) -> float:
    if seconds > LONGEST_S:
        raise ValueError(f"{quoted(text)} is longer than 31 days")
    return float(seconds)


def power_kw(value: object) -> float:
    """kW of `250 kW`, `0.3 MW`, `500 W`. Raises ValueError."""
    return float(amount(value, KILOWATTS, "power", "250 kW or 0.3 MW")[0])


def apparent_kva(value: object) -> float:
    """kVA of `500 kVA` or `1.25 MVA`. Raises ValueError."""
    return float(amount(value, KILOVOLTAMPERES, "apparent power", "500 kVA")[0])


def percent(value: object) -> float:
    """Percent of `75 %`. Raises ValueError."""
    return float(amount(value, PERCENT, "share", "75 %")[0])


def load(value: object) -> tuple[float, bool]:
    """A load: kW and False, or percent of the source's nameplate and True. Raises ValueError."""
    size, unit = amount(value, KILOWATTS | PERCENT, "load", "250 kW or 75 %")
    if unit == "%" and size > 200:
        raise ValueError(f"{quoted(value)} is more than 200 % of the nameplate")
    return float(size), unit == "%"
