"""What is told of a bench as payloads: a snapshot, an event or an outcome in, a payload out, and that as bytes."""

import json
import math
from collections.abc import Iterable, Mapping
from dataclasses import asdict, fields, is_dataclass
from datetime import datetime
from typing import Any, TypeVar

from benchctl.core.reading import Maybe
from benchctl.core.shown import Snapshot
from benchctl.core.site import Instrument, Site
from benchctl.mqtt import payloads as p
from benchctl.mqtt.given import Heard, Ran, Stamp, Terms, Told

DIGITS = 3
NOT_HEARD = ("not met", "lost")  # conditions of a unit that does not answer, see core/snapshot.py
LATE = 2.0  # a panel that is asked every so often is late after twice that

N = TypeVar("N")


def encoded(noun: p.Head) -> bytes:
    """A payload as JSON. Never raises for what a bench may say: numbers that are none are null, the rest is text."""
    text = json.dumps(_object(noun), ensure_ascii=False, separators=(",", ":"), default=str, allow_nan=False)
    return text.encode("utf-8", "replace")


def moment(wall_s: float) -> str:
    """Seconds since 1970 as ISO 8601 with this computer's offset from UTC, to the millisecond."""
    return datetime.fromtimestamp(wall_s).astimezone().isoformat(timespec="milliseconds")


def plate(stamp: Stamp, wall_s: float, site: Site, terms: Terms) -> p.Plate:
    """What the bench is."""
    return p.Plate(
        **stamp.head(moment(wall_s)),
        site=site.name,
        title=site.title,
        **asdict(terms),
        stale_s=site.limits.stale_s,
        source=_same(p.SourcePlate, site.nameplate, volts_v=site.nameplate.volts),
        units=tuple(
            _same(p.UnitPlate, u, title=u.profile.title, rated_kw=u.profile.rated_kw, stages=len(u.profile.stages))
            for u in site.units
        ),
        instruments=tuple(_same(p.InstrumentPlate, i) for i in site.instruments),
    )


def live(stamp: Stamp, heard: Heard, site: Site) -> p.Live:
    """One scan, every value with its age."""
    now, stale_s = heard.shown, site.limits.stale_s
    nouns = zip(site.instruments, now.instruments, strict=True)
    return _same(
        p.Live,
        now,
        **stamp.head(moment(now.wall_s)),
        scan=now.number,
        bench_s=_plain(now.now_s),
        run=heard.run,
        course=_course(now),
        read_back=_read_back(now, stale_s),
        delivered=_delivered(now, site),
        source=_same(p.Source, now.source, stale=_source_stale(now, stale_s)),
        units=tuple(_same(p.Unit, u, stale=_stale(u.age_s, stale_s)) for u in now.units),
        instruments=tuple(_same(p.Instrument, i, stale=_stale(i.age_s, _limit_s(noun, stale_s))) for noun, i in nouns),
        **_alarm_words(now),
        cool_down_s=_plain(max(now.cool_down_s, now.source_cool_down_s)),
    )


def state(stamp: Stamp, heard: Heard, site: Site) -> p.State:
    """The bench in brief."""
    now, stale_s = heard.shown, site.limits.stale_s
    return _same(
        p.State,
        now,
        **stamp.head(moment(now.wall_s)),
        run=heard.run,
        **_alarm_words(now),
        units=len(now.units),
        units_stale=sum(_stale(u.age_s, stale_s) for u in now.units),
        units_lost=sum(u.condition in NOT_HEARD for u in now.units),
        delivered=_delivered(now, site),
        source_kw=_plain(now.source.power_kw),
        volts_v=_plain(now.source.volts_v),
        hertz=_plain(now.source.hertz),
        source_age_s=_plain(now.source.age_s),
        source_stale=_source_stale(now, stale_s),
        cool_down_s=_plain(max(now.cool_down_s, now.source_cool_down_s)),
    )


def words(heard: Heard) -> tuple[Any, ...]:
    """What of a scan makes a new `state` worth telling at once: its words, not its figures."""
    now = heard.shown
    lost = tuple(u.condition in NOT_HEARD for u in now.units)
    told = (now.mode, now.loaded, now.off, now.dropped, now.fault, now.charge, now.recorder, now.program, now.outcome)
    return (*told, heard.run, lost, *_alarm_words(now).values())


def standing(stamp: Stamp, heard: Heard) -> p.Standing:
    """All alarms that stand."""
    return p.Standing(**stamp.head(moment(heard.shown.wall_s)), alarms=_alarms(heard))


def alarm_words(heard: Heard) -> tuple[Any, ...]:
    """What of the alarms makes them worth telling again: all but the time that runs out."""
    return tuple((*asdict(alarm).items(),) for alarm in _alarms(heard, shelved_s=None))


def event(stamp: Stamp, told: Told, lost: int) -> p.Event:
    """Something that happened; lost: events of this session given up before it."""
    return _same(p.Event, told, **stamp.head(moment(told.wall_s)), data=dict(told.data or {}), lost=lost)


def run(stamp: Stamp, ran: Ran) -> p.Run:
    """A run."""
    return _same(p.Run, ran, **stamp.head(moment(ran.wall_s)), totals=dict(ran.totals or {}))


def _same(noun: type[N], shown: object, **own: Any) -> N:
    """A payload with the keys of what is shown, its numbers rounded; own: what it has of its own."""
    taken = {name: _plain(getattr(shown, name)) for name in _keys(noun) if name not in own}
    return noun(**taken, **own)


def _plain(value: Any) -> Any:
    """A value for JSON: a number rounded, None where it is none."""
    if isinstance(value, float):
        return round(value, DIGITS) if math.isfinite(value) else None
    return tuple(_plain(v) for v in value) if isinstance(value, tuple) else value


_KEYS: dict[Any, tuple[str, ...]] = {}


def _keys(kind: Any) -> tuple[str, ...]:
    """Names of a noun's fields; none of what is no noun."""
    if kind not in _KEYS:
        _KEYS[kind] = tuple(f.name for f in fields(kind)) if is_dataclass(kind) else ()
    return _KEYS[kind]


def _object(value: Any) -> Any:
    """A payload as dicts and lists; a fifth of the time of dataclasses.asdict, and no number that is none."""
    if value is None or isinstance(value, (str, int)):
        return value
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, (list, tuple)):
        return [_object(v) for v in value]
    if isinstance(value, Mapping):
        return {str(key): _object(v) for key, v in value.items()}
    keys = _keys(type(value))
    return {key: _object(getattr(value, key)) for key in keys} if keys else value


def _stale(age_s: Maybe, stale_s: float) -> bool:
    return age_s is None or age_s >= stale_s


def _limit_s(noun: Instrument, stale_s: float) -> float:
    """A meter is as old as the limits of the site have it; a panel is asked at its own pace."""
    return max(stale_s, LATE * noun.refresh_s) if noun.role == "panel" else stale_s


def _source_stale(now: Snapshot, stale_s: float) -> bool:
    return _stale(now.source.age_s, stale_s) or now.source.frozen


def _oldest(ages_s: Iterable[Maybe]) -> Maybe:
    """The age of a sum: that of its oldest part; None when there is none, or one was never heard."""
    ages = list(ages_s)
    return None if not ages or None in ages else max(a for a in ages if a is not None)


def _measured(power_kw: Maybe, told_by: str, units: int | None, age_s: Maybe, stale_s: float) -> p.Measured:
    stale = power_kw is None or _stale(age_s, stale_s)
    return p.Measured(power_kw=_plain(power_kw), told_by=told_by, units=units, age_s=_plain(age_s), stale=stale)


def _read_back(now: Snapshot, stale_s: float) -> p.Measured:
    age_s = _oldest(u.age_s for u in now.units if u.read_back_kw is not None)
    return _measured(now.read_back_kw, "units", now.read_back_units, age_s, stale_s)


def _delivered(now: Snapshot, site: Site) -> p.Measured:
    """Of the chain, and how old the oldest meter is that it was reckoned from."""
    told_by, units, age_s = now.delivered_from, None, now.source.age_s
    if told_by == "units":
        metered = [u.age_s for u in now.units if u.measured_kw is not None]
        units, age_s = len(metered), _oldest(metered)
    elif told_by == "chain meter":
        placed = zip(site.instruments, now.instruments, strict=True)
        age_s = _oldest(shown.age_s for noun, shown in placed if noun.place == "chain")
    return _measured(now.delivered_kw, told_by, units, age_s, site.limits.stale_s)


def _course(now: Snapshot) -> p.Course | None:
    if not now.program:
        return None
    leg = now.leg
    return _same(
        p.Course,
        now,
        segment=leg.segment if leg else None,
        leg=leg.index if leg else None,
        legs=leg.count if leg else None,
        kind=leg.kind if leg else "",
        label=leg.label if leg else "",
        leg_s=_plain(leg.spent_s) if leg else None,
        leg_to_go_s=_plain(leg.to_go_s) if leg else None,
    )


def _alarm_words(now: Snapshot) -> dict[str, Any]:
    """The keys that `Live` and `State` have of the alarms."""
    up = [a for a in now.alarms if a.shelved_s <= 0.0]
    return {
        "alarms": len(up),
        "unacknowledged": sum(not a.acknowledged for a in up),
        "first_out": "; ".join(a.text for a in up if a.first_out),
        "trip": now.trip.text if now.trip else "",
    }


def _alarms(heard: Heard, **own: Any) -> tuple[p.Alarm, ...]:
    return tuple(_same(p.Alarm, alarm, **own) for alarm in heard.shown.alarms)
