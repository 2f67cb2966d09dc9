"""States as bytes, without what cannot decide anything later: two states with equal bytes have the same future.

Left out, because no rung reads it: what is only told (texts, counts and first-out numbers of alarms, the names of
outcomes, times of the program that are only shown) and the last reading of a unit that has told something since.
Times that only wait for a limit stop a scan beyond it. A test walks states and their compact twins side by side.

| left out                          | why it decides nothing                                                          |
|-----------------------------------|---------------------------------------------------------------------------------|
| alarm: count, order, text         | reactions are those of the whole set; the order only says which text is told    |
| trip: row, text, place            | rungs ask only whether one is latched                                           |
| held: which cause                 | rungs ask only whether, and whether it is that nobody is attached               |
| outcome, after_unload             | told at the end                                                                 |
| program_s, paused_s               | told                                                                            |
| prompt: text                      | told                                                                            |
| steady_s                          | asked only of units with a meter of their own, which no small world has          |
"""

import marshal
from dataclasses import fields
from functools import cache
from operator import attrgetter
from typing import Any

from benchctl.core import checks
from benchctl.core.attendance import ALONE
from benchctl.core.causes import ROWS
from benchctl.core.charge import NOBODY
from benchctl.core.decision import Settings
from benchctl.core.program import Silence
from benchctl.core.prompts import PROMPTS
from benchctl.core.reading import NOT_ASKED_INSTRUMENT, NOT_ASKED_UNIT, InstrumentReading, UnitReading
from benchctl.core.state import Alarm, CheckState, InstrumentState, Mode, Prompt, Shelved, State, Trip, UnitState
from tests.explore import world as tables
from tests.explore.world import DT_S, Plant

NEVER_S = 1e9
NOT = -1.0  # stands for None among times
MODES, SILENCES = tuple(Mode), tuple(Silence)
ROW_KEYS = tuple(r.key for r in ROWS)
ROW_NUMBERS = {key: i for i, key in enumerate(ROW_KEYS)}
KINDS = tuple(p.kind for p in PROMPTS)
NAMES = ("", "operator", NOBODY)
HELD = ("", ALONE, "held")
SERIALS = ("", "S", "T")
SAID = Trip("", -1, "", 0, 0.0)

CAPPED = ("age_s", "opening_s", "fan_on_s", "cooling_s")
TOLD = ("last", "serial", "steady_s")
UNIT = tuple(f.name for f in fields(UnitState) if f.name not in (*CAPPED, *TOLD))
_unit = attrgetter(*UNIT)
REST = (
    *("unattended", "alone_s", "person_s", "leg", "leg_s", "from_kw", "target_kw", "ceiling_kw", "waiting"),
    *("phase", "extended_s", "paused", "reading_number", "unload_s", "unload_fast", "by_hand", "source_cool_s"),
    *("room_kw", "block_s", "volts_v", "site_kw", "short_kw", "trim_kw", "trim_wait_s", "settle_s", "fan_gap_s"),
    *("redistributed", "dropped"),
)
_rest = attrgetter(*REST)
CHECK = ("index", "step", "wait_s", "load", "sums", "count", "counts", "tries")
_check = attrgetter(*CHECK)


class Compact:
    """States of a world to bytes and back.

    silent: some device may not answer, so that its last reading goes on to matter; otherwise the next one replaces it
    before any rung looks, but for the running time of a unit, from which its restart is known.
    """

    def __init__(self, settings: Settings, *, silent: bool) -> None:
        place = settings.site
        self._silent = silent
        limits = place.limits
        self._instruments = len(place.instruments)
        self._oldest_s = limits.lost_s
        self._stale_s = limits.stale_s + DT_S
        self._waited_s = limits.hold_start_timeout_s + DT_S
        fans_s = limits.fan_start_gap_s * len(place.units) + max(u.profile.fan.proof_s for u in place.units)
        self._ready_s = checks.READY_S + fans_s + DT_S
        self._caps = [
            (
                u.profile.follow_s + (u.profile.setpoint.drop_s if u.profile.setpoint else 0.0) + DT_S,
                u.profile.fan.proof_s + DT_S,
                max(u.profile.cooldown.alarm_s, DT_S),
            )
            for u in place.units
        ]
        self._oldest = [self._oldest_s if u.profile.watchdog is None else NEVER_S for u in place.units]

    def pack(self, state: State, plants: tuple[Plant, ...]) -> bytes:
        """A state and its plants. Raises AssertionError where something would be lost that can matter."""
        assert all(i.frozen_s == 0.0 for i in state.instruments)
        assert not state.check.results
        prompt, held = state.prompt, state.held
        alarms = [
            (ROW_NUMBERS[key], unit, a.on_s, a.active, a.acknowledged, a.latched)
            for (key, unit), a in state.alarms.items()
        ]
        alarms.sort()
        return marshal.dumps(
            (
                tuple([self._pack_unit(i, u) for i, u in enumerate(state.units)]),
                tuple([self._pack_instrument(i) for i in state.instruments]),
                _rest(state),
                (NAMES.index(state.charge), MODES.index(state.mode), HELD.index(held) if held in HELD else 2),
                NOT if state.found_s is None else state.found_s,
                NOT if state.site_known_kw is None else state.site_known_kw,
                NOT if state.reading_owed_s is None else state.reading_owed_s,
                min(state.waited_s, self._waited_s),
                None if prompt is None else
                (KINDS.index(prompt.kind), prompt.remaining_s, SILENCES.index(prompt.if_silent)),
                (*_check(state.check), min(state.check.waited_s, self._ready_s)),
                tuple(alarms),
                tuple(sorted([(ROW_NUMBERS[s.row], s.unit, s.left_s) for s in state.shelved])),
                state.trip is not None,
                sorted({(what == "cool-down", unit) for what, unit, _, _ in state.overrides}),
                tuple([(p.load, p.fan, p.keep, p.close) for p in plants]),
            ),
            2,
        )  # fmt: skip

    def _pack_instrument(self, i: InstrumentState) -> tuple[Any, ...]:
        age_s = min(i.age_s, self._stale_s) if i.age_s < NEVER_S else NOT
        return (code_of(i.last) if self._silent else (1,), age_s)

    def _pack_unit(self, i: int, u: UnitState) -> tuple[Any, ...]:
        opening_s, proof_s, cooling_s = self._caps[i]
        age_s = min(u.age_s, self._oldest[i]) if u.heard else NEVER_S
        return (
            _unit(u),
            (age_s, min(u.opening_s, opening_s), min(u.fan_on_s, proof_s), min(u.cooling_s, cooling_s)),
            code_of(u.last) if self._silent else (RUNS if u.last.uptime_s else (0,)),
            SERIALS.index(u.serial),
        )

    def unpack(self, packed: bytes) -> tuple[State, tuple[Plant, ...]]:
        """The state and the plants that were packed; what was left out is as in a new state."""
        (units, instruments, rest, (charge, mode, held), found, site_kw, owed, waited, prompt, check, alarms, shelved,
         trip, overrides, plants) = marshal.loads(packed)  # noqa: S302 - our own bytes  # fmt: skip
        state = State(
            tuple([_unpack_unit(*u) for u in units]),
            tuple([InstrumentState(reading_of(code), NEVER_S if age == NOT else age) for code, age in instruments]),
            charge=NAMES[charge],
            mode=MODES[mode],
            held=HELD[held],
            found_s=None if found == NOT else found,
            site_known_kw=None if site_kw == NOT else site_kw,
            reading_owed_s=None if owed == NOT else owed,
            waited_s=waited,
            prompt=None if prompt is None else Prompt(KINDS[prompt[0]], "", prompt[1], SILENCES[prompt[2]]),
            check=CheckState(**dict(zip((*CHECK, "waited_s"), check, strict=True))),
            alarms={
                (ROW_KEYS[row], unit): Alarm(ROW_KEYS[row], unit, on_s, active, acknowledged, latched, 1, 1)
                for row, unit, on_s, active, acknowledged, latched in alarms
            },
            alarm_order=1,
            shelved=tuple([Shelved(ROW_KEYS[row], unit, left_s, "", "", "") for row, unit, left_s in shelved]),
            trip=SAID if trip else None,
            overrides=tuple([("cool-down" if cool else "check load", unit, "", "") for cool, unit in overrides]),
        )
        for name, value in zip(REST, rest, strict=True):
            setattr(state, name, value)
        return state, tuple([Plant(*p) for p in plants])


def _unpack_unit(plain: tuple[Any, ...], capped: tuple[float, ...], last: Any, serial: int) -> UnitState:
    u = UnitState(last=reading_of(last), serial=SERIALS[serial])
    for name, value in zip((*UNIT, *CAPPED), (*plain, *capped), strict=True):
        setattr(u, name, value)
    return u


_codes: dict[int, tuple[Any, ...]] = {}
_DOINGS, _SOURCES = tuple(tables.DOINGS), tuple(tables.SOURCES)
RUNS = (3, 0, 0, _DOINGS.index("well"))  # any reading of a unit that has run for a while


def code_of(last: UnitReading | InstrumentReading) -> tuple[int, ...]:
    """What stands for a reading: how it was made. Readings of the tables are never thrown away, so ids stay theirs."""
    code = _codes.get(id(last))
    if code is None:
        code = _codes[id(last)] = _find(last)
    return code


def _find(last: UnitReading | InstrumentReading) -> tuple[int, ...]:
    if last is NOT_ASKED_UNIT:
        return (0,)
    if last is NOT_ASKED_INSTRUMENT:
        return (1,)
    if isinstance(last, InstrumentReading):
        return (2, next(i for i, name in enumerate(_SOURCES) if tables.SOURCES[name] is last))
    for doing, name in enumerate(_DOINGS):
        for load, fan in ((load, fan) for load in range(4) for fan in (False, True)):
            if tables.reading(load, fan, name) == last:  # the first of equals stands for all
                return (3, load, int(fan), doing)
    raise AssertionError(f"a reading that no table has: {last}")


@cache
def reading_of(code: tuple[int, ...]) -> Any:
    """The reading that a code stands for."""
    if code[0] < 2:
        return (NOT_ASKED_UNIT, NOT_ASKED_INSTRUMENT)[code[0]]
    if code[0] == 2:
        return tables.SOURCES[_SOURCES[code[1]]]
    return tables.reading(code[1], bool(code[2]), _DOINGS[code[3]])
