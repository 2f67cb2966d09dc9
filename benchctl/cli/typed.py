"""What may be typed in a terminal that follows a run, and the order that each line is."""

from collections.abc import Callable, Iterable
from typing import Any

from benchctl.core.causes import BY_KEY
from benchctl.core.overrides import BY_WHAT

Parts = dict[str, Any]
LEAVE = "leave"


def order_of(line: str) -> tuple[str, Parts]:
    """The verb and what the order carries. Raises ValueError in words."""
    word, _, rest = line.partition(" ")
    known = WORDS.get(word.lower())
    if known is None:
        words = ", ".join([*filter(None, WORDS), LEAVE])
        raise ValueError(f"{word}: not known; there are {words}, and Enter to check in")
    verb, parts = known
    return verb, parts(word.lower(), rest.strip())


def _nothing(word: str, rest: str) -> Parts:
    return {}


def _word(word: str, rest: str) -> Parts:
    return {"text": word}


def _all(word: str, rest: str) -> Parts:
    return {"text": "all"}


def _remark(word: str, rest: str) -> Parts:
    return {"why": rest}


def _said(word: str, rest: str) -> Parts:
    return {"text": rest}


def _unit_why(word: str, rest: str) -> Parts:
    unit, _, why = rest.partition(":")
    return {"unit": unit.strip(), "why": why.strip()}


def _figure(kind: str) -> Callable[[str, str], Parts]:
    def parts(word: str, rest: str) -> Parts:
        try:
            return {"value": float(rest)}
        except ValueError:
            raise ValueError(f"{word} {rest}: expected {kind}, such as: {word} 60") from None

    return parts


def _switch(word: str, rest: str) -> Parts:
    """A unit, then a stage with on or off, or the kW of a set point."""
    unit, _, asked = rest.partition(":")
    stage, _, how = asked.strip().rpartition(" ")
    if stage and how in ("on", "off"):
        return {"unit": unit.strip(), "text": stage.strip(), "value": float(how == "on")}
    try:
        return {"unit": unit.strip(), "value": float(asked)}
    except ValueError:
        raise ValueError(
            f"expected a unit and a stage, or kW of a set point, such as: {word} bank 1: 20 kW on; {word} bank 4: 35"
        ) from None


def _override(word: str, rest: str) -> Parts:
    said, colon, why = rest.partition(":")
    if not colon:
        raise ValueError(f"expected what and why, such as: {word} check load: witnessed by hand")
    return _what_unit(said, BY_WHAT) | {"why": why.strip()}


def _shelve(word: str, rest: str) -> Parts:
    """An alarm, its unit if it has one, seconds, and why; 0 s brings it back."""
    said, _, why = rest.partition(":")
    alarm, _, time = said.strip().rpartition(" ")
    try:
        return _what_unit(alarm, BY_KEY) | {"value": float(time), "why": why.strip()}
    except ValueError:
        raise ValueError(
            f"expected an alarm, its unit, seconds and why, such as: {word} inlet warm bank 1 600: sun on the sensor"
        ) from None


def _what_unit(said: str, known: Iterable[str]) -> Parts:
    """A known name, and the unit behind it. A name that is not known goes as it is: the bench says what is."""
    what = next((name for name in sorted(known, key=len, reverse=True) if f"{said} ".startswith(f"{name} ")), None)
    what = said.strip() if what is None else what
    return {"text": what, "unit": said[len(what) :].strip()}


# The first word of a line -> the order, and what it carries
WORDS: dict[str, tuple[str, Callable[[str, str], Parts]]] = {
    "yes": ("answer", _word),
    "no": ("answer", _word),
    "charge": ("take charge", _nothing),
    "over": ("take over", _remark),
    "adopt": ("adopt", _nothing),
    "set": ("set load", _figure("kW")),
    "switch": ("switch", _switch),
    "pause": ("pause", _nothing),
    "resume": ("resume", _nothing),
    "extend": ("extend", _figure("seconds")),
    "skip": ("skip", _nothing),
    "unload": ("unload", _nothing),
    "drop": ("drop", _nothing),
    "ack": ("acknowledge", _all),
    "shelve": ("shelve", _shelve),
    "reset": ("reset", _nothing),
    "join": ("join", _unit_why),
    "override": ("override", _override),
    "fans": ("confirm fans", _unit_why),
    "remark": ("remark", _remark),
    "reading": ("reading", _said),
    "": ("check in", _nothing),
}
