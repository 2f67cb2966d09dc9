"""What must hold before the first stage closes, as rows. True, False, or None while it cannot be known."""

from collections.abc import Callable
from dataclasses import dataclass

from benchctl.core.decision import Settings
from benchctl.core.seen import Contact, Seen
from benchctl.core.state import State


@dataclass(frozen=True, slots=True)
class Permissive:
    """One row of the list that fills in before load."""

    key: str
    text: str
    holds: Callable[[State, Seen, Settings], bool | None]


def _all_units(test: Callable[[int, State, Seen], bool | None]) -> Callable[[State, Seen, Settings], bool | None]:
    """Every unit that has joined passes; None as long as one of them cannot be known."""

    def holds(state: State, seen: Seen, settings: Settings) -> bool | None:
        results = [test(i, state, seen) for i, u in enumerate(state.units) if u.joined and not u.out]
        if False in results:
            return False
        return None if None in results or not results else True

    return holds


def _volts(state: State, seen: Seen, settings: Settings) -> bool | None:
    if seen.volts_v is None:
        return None if seen.source_from or settings.site.instruments else True
    rated = settings.site.nameplate.volts
    return abs(seen.volts_v / rated - 1.0) <= settings.site.limits.volts_trip_percent / 100.0


def _hertz(state: State, seen: Seen, settings: Settings) -> bool | None:
    if seen.hertz is None:
        return None if seen.source_from or settings.site.instruments else True
    rated = settings.site.nameplate.hertz
    return abs(seen.hertz / rated - 1.0) <= settings.site.limits.hertz_warn_percent / 100.0


def _enough(state: State, seen: Seen, settings: Settings) -> bool | None:
    carried_kw = max(0.0, seen.site_kw or 0.0) if settings.counts_source else 0.0
    return seen.available_kw >= settings.peak_kw - carried_kw


PERMISSIVES: tuple[Permissive, ...] = (
    Permissive("charge", "somebody has taken charge", lambda st, se, cf: bool(st.charge)),
    Permissive("trip", "no trip is latched", lambda st, se, cf: st.trip is None),
    Permissive("record", "the record is being written", lambda st, se, cf: not se.recorder_failed),
    Permissive("site", "the site does not need the set", lambda st, se, cf: not se.site_needs_set),
    Permissive("joined", "at least one unit has joined", lambda st, se, cf: any(u.joined for u in st.units)),
    Permissive(
        "contact", "every joined unit answers", _all_units(lambda i, st, se: se.units[i].contact is Contact.FRESH)
    ),
    Permissive("identity", "every unit is what its profile says", _all_units(lambda i, st, se: st.units[i].identified)),
    Permissive(
        "remote", "every unit is in remote", _all_units(lambda i, st, se: se.units[i].reading.remote is not False)
    ),
    Permissive(
        "empty",
        "every unit is read back without load",
        _all_units(lambda i, st, se: None if se.units[i].load is None else se.units[i].load == 0),
    ),
    Permissive("airflow", "airflow is proven at every unit", _all_units(lambda i, st, se: st.units[i].proven or None)),
    Permissive("able", "every unit may be loaded", _all_units(lambda i, st, se: se.units[i].unable == "" or None)),
    Permissive("volts", "the source's volts are within limits", _volts),
    Permissive("hertz", "the source's hertz are within limits", _hertz),
    Permissive("enough", "the units can give the program's peak", _enough),
)


def permissives(state: State, seen: Seen, settings: Settings) -> tuple[tuple[str, bool | None], ...]:
    """All rows with their present answers."""
    return tuple((row.text, row.holds(state, seen, settings)) for row in PERMISSIVES)
