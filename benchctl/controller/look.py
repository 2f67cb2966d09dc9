"""What first contact would ask, answered from what the controller has heard already: the wire is not asked twice."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any, NamedTuple, TypeVar

from benchctl.core.decision import Frame
from benchctl.core.levels import load_kw
from benchctl.core.reading import InstrumentReading, Outcome, UnitReading
from benchctl.core.site import Instrument, Site, Unit
from benchctl.core.state import InstrumentState, UnitState
from benchctl.field.answer import Answers
from benchctl.field.contact import BETWEEN_S, Met, introduced, plain, whole
from benchctl.planning.fits import available_kw, place_warnings

R = TypeVar("R", UnitReading, InstrumentReading)
NEVER_S = 1e9  # an age that means "never heard"


class Beside(NamedTuple):
    """What is known beside the frames, by name of the device; see `field.chain.Chain`."""

    said: Mapping[str, tuple[Answers, float | None]] = {}  # of itself, and seconds that one request took
    absent: Mapping[str, tuple[str, ...]] = {}  # addresses that it has not
    faults: Mapping[str, str] = {}  # what is wrong with its connection now


NOTHING = Beside()


def look_rows(site: Site, frame: Frame | None, beside: Beside = NOTHING) -> list[dict[str, Any]]:
    """A row per device, the units first. What is not known is None."""
    if frame is None:
        return []
    state, inputs = frame.decision.state, frame.inputs
    rows: list[dict[str, Any]] = []
    for u, unit, newest in zip(state.units, site.units, inputs.units, strict=True):
        met = _unit(site, unit, u, newest, beside)
        last = u.last
        more = {
            "remote": last.remote,
            "load_kw": None if last.load is None else round(load_kw(unit.profile, last.load, 1.0), 3),
            "found": u.found,
            "rated_kw": unit.profile.rated_kw,
            "rated_v": unit.profile.rated_v,
            "connection": unit.profile.connection,
            "available_kw": round(available_kw(site, unit), 3),
            "misfits": place_warnings(site, unit),
        }
        rows.append(_row(unit, met) | more)
    for kept, instrument, heard in zip(state.instruments, site.instruments, inputs.instruments, strict=True):
        rows.append(_row(instrument, _instrument(site, instrument, kept, heard, beside)))
    return rows


def _row(noun: Unit | Instrument, met: Met) -> dict[str, Any]:
    place = noun.endpoint
    return {"at": f"{place.host}:{place.port}", "unit_id": noun.unit_id} | plain(met)


def _unit(site: Site, unit: Unit, u: UnitState, newest: UnitReading, beside: Beside) -> Met:
    said, took_s = _said(unit, beside)
    reached = u.heard and not u.lost
    told = whole(site, unit, said) if said else u.last
    reading = replace(u.last if reached else _mute(newest), serial=u.serial or told.serial, identity_ok=u.identified)
    fresh = True if said and told.electrical != u.last.electrical else None
    return _met(site, unit, reading, said, fresh if reached else None, took_s, u.age_s, beside, stranger=u.found)


def _instrument(site: Site, noun: Instrument, kept: InstrumentState, newest: InstrumentReading, beside: Beside) -> Met:
    said, took_s = _said(noun, beside)
    reached = kept.age_s <= site.limits.lost_s
    told = whole(site, noun, said) if said else kept.last
    reading = replace(kept.last if reached else _mute(newest), serial=told.serial, identity_ok=told.identity_ok)
    fresh = None
    if reached and kept.last.electrical.refresh_count is not None:
        fresh = kept.frozen_s < max(BETWEEN_S, 2.0 * noun.refresh_s)
    return _met(site, noun, reading, said, fresh, took_s, kept.age_s, beside, stranger=False)


def _mute(newest: R) -> R:
    """A device that is not reached and not asked in this scan rests because it was silent."""
    return replace(newest, outcome=Outcome.SILENT) if newest.outcome is Outcome.NOT_ASKED else newest


def _said(noun: Unit | Instrument, beside: Beside) -> tuple[Answers, float | None]:
    return beside.said.get(noun.name, ((), None))


def _met(
    site: Site,
    noun: Unit | Instrument,
    reading: UnitReading | InstrumentReading,
    said: Answers,
    fresh: bool | None,
    took_s: float | None,
    age_s: float,
    beside: Beside,
    *,
    stranger: bool,
) -> Met:
    return introduced(
        site, noun, reading, said, fresh,
        latency_s=took_s,
        absent=beside.absent.get(noun.name, ()),
        fault=beside.faults.get(noun.name, ""),
        age_s=age_s if age_s < NEVER_S else None,
        stranger=stranger,
    )  # fmt: skip
