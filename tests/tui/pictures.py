"""Hand-made pictures of an invented bench for tests of the views, and what every page must keep to."""

import dataclasses
import functools
import os
import types
import typing
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

from benchctl.core.shown import AlarmShown, InstrumentShown, LegShown, PromptShown, Snapshot, SourceShown, UnitShown
from benchctl.tui.view.picture import BankTold, Page, Picture, Place, StageTold, Told
from benchctl.tui.view.text import Line, cells, plain
from benchctl.tui.view.whole import draw, room

GOLDEN = Path(__file__).parent / "golden"
N = TypeVar("N")
HINTS: Callable[[Any], dict[str, Any]] = functools.cache(typing.get_type_hints)


def made(noun: type[N], **given: Any) -> N:
    """A noun with these values; of the rest what is not given is empty, zero, or not known."""
    hints = HINTS(noun)
    values = dict(given)
    for field in dataclasses.fields(noun):  # type: ignore[arg-type]
        if field.name not in values and field.default is dataclasses.MISSING:
            values[field.name] = _nothing(hints[field.name])
    return noun(**values)


def _nothing(kind: Any) -> Any:
    origin, args = typing.get_origin(kind), typing.get_args(kind)
    if origin in (typing.Union, types.UnionType) and type(None) in args:
        return None
    if origin is tuple:
        return () if ... in args else tuple(_nothing(a) for a in args)
    return kind() if kind in (str, bool, int, float, tuple) else made(kind)


def bank(name: str = "bank 1", **given: Any) -> UnitShown:
    """A bank of 150 kW in eight stages that carries 100 kW."""
    loaded: dict[str, Any] = {
        "condition": "loaded", "joined": True, "remote": True, "age_s": 0.3, "commanded_kw": 100.0,
        "read_back_kw": 100.0, "measured_kw": 98.4, "possible_kw": 100.0, "rated_kw": 150.0, "stages": 8,
        "closed": ("S1", "S2", "S3", "S4", "S5"), "exhaust_c": 184.0, "inlet_c": 24.0, "fan_ordered": True,
        "fan_on": True, "airflow": True, "cool_down_s": 300.0,
    }  # fmt: skip
    return made(UnitShown, **loaded | {"name": name} | given)


def alarm(row: str = "exhaust warm", unit: str = "bank 1", **given: Any) -> AlarmShown:
    """An alarm that has just come."""
    fresh = {"text": f"{unit}: exhaust hotter than expected", "reaction": "alarm", "active": True, "count": 1}
    return made(AlarmShown, **fresh | {"row": row, "unit": unit} | given)


def source(**given: Any) -> SourceShown:
    """A set at 400 V and 50 Hz that carries 300 kW."""
    good: dict[str, Any] = {
        "told_by": "source meter", "age_s": 0.4, "volts_v": 399.2, "volts_ll": (399.0, 399.4, 399.2),
        "amps": (433.1, 434.0, 432.6), "power_kw": 299.6, "power_factor": 1.0, "hertz": 49.98, "site_kw": 12.0,
    }  # fmt: skip
    return made(SourceShown, **good | given)


def instrument(name: str = "source meter", **given: Any) -> InstrumentShown:
    """A meter at the source."""
    return made(InstrumentShown, **{"name": name, "role": "meter", "place": "source", "age_s": 0.4} | given)


def leg(**given: Any) -> LegShown:
    """The second segment of a program: a hold."""
    second = {"index": 1, "count": 6, "segment": 2, "kind": "hold", "from_kw": 100.0, "to_kw": 300.0, "spent_s": 60.0}
    return made(LegShown, **second | given)


def prompt(**given: Any) -> PromptShown:
    """An open question."""
    asked = {"text": "Is the set warm?", "yes": "go on", "no": "unload", "remaining_s": 60.0, "if_silent": "hold"}
    return made(PromptShown, **asked | given)


def scan(*banks: UnitShown, **given: Any) -> Snapshot:
    """A scan of four banks under 300 kW by hand, unless told otherwise."""
    units = banks or (bank(), bank("bank 2"), bank("bank 3"), OFF)
    loaded: dict[str, Any] = {
        "number": 1200, "wall_s": 1_700_000_600.0, "now_s": 600.0, "dt_s": 0.5, "mode": "idle", "charge": "operator",
        "target_kw": 300.0, "chain_target_kw": 300.0, "commanded_kw": 300.0, "read_back_kw": 300.0,
        "read_back_units": len(units), "delivered_kw": 299.6, "delivered_from": "source meter", "available_kw": 487.2,
        "possible_kw": 300.0, "rated_kw": 500.0, "ceiling_kw": 400.0, "margin_kw": 100.0, "loaded": True, "off": False,
        "cool_down_s": 300.0, "source": source(), "instruments": (instrument(),), "units": units,
    }  # fmt: skip
    return made(Snapshot, **loaded | given)


OFF = bank(
    "bank 4", condition="off", unable="airflow is not proven", commanded_kw=0.0, read_back_kw=0.0, measured_kw=0.0,
    possible_kw=0.0, rated_kw=80.0, closed=(), exhaust_c=25.0, fan_ordered=False, fan_on=False, airflow=False,
    cool_down_s=0.0,
)  # fmt: skip

STAGES = tuple(StageTold(f"S{i}", kw) for i, kw in enumerate((4.0, 8.0, 8.0, 20.0, 30.0, 40.0, 20.0, 20.0), 1))
PLACE = Place(
    site="northquay",
    title="Northquay ferry terminal",
    banks=tuple(BankTold(f"bank {i}", "Invented unit", 150.0, f"127.0.0.1:50{i}/1", STAGES) for i in range(1, 5)),
    nameplate={"name": "standby set", "power_kw": 400.0, "volts_v": 400.0, "hertz": 50.0},
)


def picture(page: Page = Page.CHAIN, *banks: UnitShown, **scanned: Any) -> Picture:
    """A live picture of this page; further values are of its scan."""
    made_up = Picture(place=PLACE, now=scan(*banks, **scanned), quiet_s=0.2, clock="12:00:00", who="operator")
    made_up.cursor.page = page
    return made_up


def told(what: str, text: str, at_s: float = 0.0, **given: Any) -> Told:
    """An event, at_s after 12:00."""
    whole = int(at_s)
    clock = f"{12 + whole // 3600:02d}:{whole // 60 % 60:02d}:{whole % 60:02d}"
    given["data"] = tuple(given.pop("data", {}).items())
    return Told(whole, 1_700_000_000.0 + at_s, clock, what, text, **given)


def screen(shown: Picture, width: int = 80, height: int = 24) -> str:
    """The text of a whole screen; lines end where their text ends."""
    return "\n".join(plain(line).rstrip() for line in draw(shown, width, height)) + "\n"


def page_text(shown: Picture, width: int = 80, height: int = 24) -> str:
    """The text of the page alone, as it stands in a window of this size."""
    rows = draw(shown, width, height)[2 : 2 + room(height)]
    return "\n".join(plain(line).rstrip() for line in rows).rstrip() + "\n"


def as_it_was(text: str, name: str) -> None:
    """A screen is laid out as in golden/NAME. BENCHCTL_GOLDEN=write lays it down anew: look at the change."""
    path = GOLDEN / name
    if os.environ.get("BENCHCTL_GOLDEN") == "write":
        path.write_text(text, encoding="utf-8")
    assert text == path.read_text(encoding="utf-8"), f"golden/{name}"


def exact(lines: list[Line], width: int, height: int) -> None:
    """Exactly so many lines of exactly so many cells, and nothing that steers a terminal."""
    assert len(lines) == height
    for line in lines:
        text = plain(line)
        assert cells(text) == width, text
        assert text.isprintable(), repr(text)
