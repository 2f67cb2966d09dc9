"""Bugs seeded on purpose into the core, and the small world whose exploration must catch each, by which law.

A mutant is made from the text of the product's own functions, so that one which no longer fits its text fails loudly.
"""

import inspect
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from types import ModuleType
from unittest import mock

from benchctl.core import alarms, causes, cooldown, decide, guard, obey
from benchctl.core.calm import LOOKS
from benchctl.core.conditions import Active, Now


@dataclass(frozen=True, slots=True)
class Edit:
    """A text of one function of a module, replaced by another; several pairs for an exchange."""

    module: ModuleType
    function: str
    changes: tuple[tuple[str, str], ...]

    @contextmanager
    def made(self) -> Iterator[None]:
        """The module with the function edited. Raises AssertionError where the text is not there exactly once."""
        through = getattr(self.module, self.function)
        text = inspect.getsource(through)
        for i, (old, _) in enumerate(self.changes):  # by way of marks: an exchange must not find its own result
            assert text.count(old) == 1, f"{self.function}: {old!r} is there {text.count(old)} times"
            text = text.replace(old, f"\0{i}\0")
        for i, (_, new) in enumerate(self.changes):
            text = text.replace(f"\0{i}\0", new)
        room = dict(vars(self.module))
        exec(compile(text, f"{self.module.__name__}, edited", "exec"), room)  # noqa: S102 - our own text
        with mock.patch.object(self.module, self.function, _rehomed(room[self.function], self.module)):
            yield


def _rehomed(function: Callable[..., object], module: ModuleType) -> Callable[..., object]:
    """The function with the module's own names, so that it sees what else is patched there."""
    made = type(edit_home)(function.__code__, vars(module), function.__name__, function.__defaults__)  # type: ignore[attr-defined]
    made.__kwdefaults__ = function.__kwdefaults__  # type: ignore[attr-defined]
    return made  # type: ignore[no-any-return]


def edit_home() -> None:
    """Gives `_rehomed` the type of functions."""


@dataclass(frozen=True, slots=True)
class RowChange:
    """A row of the table of interlocks, whose condition is never there, or there when it is not."""

    row: str
    negated: bool

    @contextmanager
    def made(self) -> Iterator[None]:
        """The alarms with the row changed; no quick look answers for it."""
        looks = tuple((calm, tuple(key for key in keys if key != self.row)) for calm, keys in LOOKS)
        with ExitStack() as stack:
            stack.enter_context(mock.patch.object(alarms, "LOOKS", looks))
            for name, rows in (("BENCH", causes.BENCH_ROWS), ("UNIT", causes.UNIT_ROWS)):
                changed = tuple([self._changed(row) for row in rows])
                stack.enter_context(mock.patch.object(alarms, name, alarms._Rows.of(changed)))
            yield

    def _changed(self, row: causes.Row) -> causes.Row:
        if row.key != self.row:
            return row
        return replace(row, active=_negated(row.active) if self.negated else lambda now: False)


def _negated(active: Active) -> Active:
    def not_active(now: Now) -> bool | None:
        found = active(now)
        return None if found is None else not found

    return not_active


@dataclass(frozen=True, slots=True)
class Mutant:
    """What is changed, the world whose exploration must catch it, and how the law that says so begins."""

    name: str
    change: Edit | RowChange
    world: str
    law: str


OFF, CLOSES, CALM = "react: load stays on in a unit", "react: a closing before", "calm: "
DROPPED, UNLOADED = "react: load is kept on in a drop", "react: an unload that does not end"
INTERLOCKS: tuple[tuple[str, str, str], ...] = (  # row, world, law that misses it when it is gone
    ("site needs the set", "site", "law 1"),
    ("emergency stop", "stop", "law 1"),
    ("phase lost", "phase", DROPPED),
    ("hertz stall", "hertz", DROPPED),
    ("hertz low", "hertz", DROPPED),
    ("hertz low after block", "hertz after a block", DROPPED),
    ("volts very low", "volts", DROPPED),
    ("volts low", "volts", DROPPED),
    ("volts low after block", "volts after a block", DROPPED),
    ("over-current", "amps", UNLOADED),
    ("over-power", "kilowatts", UNLOADED),
    ("airflow lost", "air at rest", OFF),
    ("load without air", "found without air", OFF),
    ("air not known", "air not known", OFF),
    ("over-temperature", "hot", OFF),
    ("fan supply lost", "fans", OFF),
    ("unit volts high", "volts high", OFF),
    ("contactor stuck closed", "contactors", OFF),
    ("unit swapped", "identity", OFF),
    ("did not follow", "refused", CLOSES),
    ("load changed by someone else", "another hand", CLOSES),
    ("load fell", "fell", CLOSES),
    ("unit restarted", "restarted", CLOSES),
    ("unit in local", "local", CLOSES),
    ("time gap", "time", "law 6"),
    ("record stopped", "record", CLOSES),
    ("no unit left", "both hot", CLOSES),
)


def _rungs(first: str, second: str) -> Edit:
    """Two rungs of decide that change places."""
    text = inspect.getsource(decide.decide)
    lines = {line.strip().split("(")[0]: line.strip() for line in text.splitlines() if "(now, " in line}
    return Edit(decide, "decide", ((lines[first], lines[second]), (lines[second], lines[first])))


def _without(module: ModuleType, function: str, old: str, new: str = "") -> Edit:
    return Edit(module, function, ((old, new),))


RUNGS: tuple[Mutant, ...] = (
    Mutant("commands after the clock", _rungs("obey", "advance"), "", ""),
    Mutant("commands after the alarms", _rungs("obey", "alarms"), "", ""),
    Mutant("commands after the interlocks", _rungs("obey", "interlocks"), "", ""),
    Mutant("the clock after the interlocks", _rungs("advance", "interlocks"), "", ""),
    Mutant("attendance after the alarms", _rungs("attendance", "alarms"), "", ""),
    Mutant("attendance before the clock", _rungs("advance", "attendance"), "", ""),
    Mutant("interlocks before the alarms", _rungs("alarms", "interlocks"), "", ""),
    Mutant("cool-down before the interlocks", _rungs("interlocks", "cooldown"), "", ""),
)
READY = 's.unable == "" and u.fan and u.proven and s.reading.airflow is True and s.ratio <= profile.highest_v_ratio'
GUARD: tuple[Mutant, ...] = (
    Mutant("a drop forgotten", _without(guard, "_allowed", "state.dropped or ", ""), "", ""),
    Mutant("charge forgotten", _without(guard, "_allowed", "not state.charge or ", ""), "", ""),
    Mutant("units that are off forgotten", _without(guard, "_allowed", " or u.out"), "", ""),
    Mutant("units that have not joined forgotten", _without(guard, "_allowed", " or not u.joined"), "", ""),
    Mutant("reasons forgotten", _without(guard, "_allowed", 's.unable == "" and ', ""), "", ""),
    Mutant("a fan that is not ordered", _without(guard, "_allowed", "u.fan and ", ""), "", ""),
    Mutant("air that is not proven", _without(guard, "_allowed", "u.proven and ", ""), "", ""),
    Mutant("air that is gone", _without(guard, "_allowed", "s.reading.airflow is True and ", ""), "", ""),
    Mutant("volts that are too high", _without(guard, "_allowed", " and s.ratio <= profile.highest_v_ratio"), "", ""),
    Mutant("a trip forgotten", _without(guard, "_allowed", " or state.trip is not None"), "", ""),
    Mutant("a closing upon a closing", _without(guard, "_allowed", " or u.follow_s > 0.0"), "", ""),
    Mutant("another load than ordered", _without(guard, "_allowed", " or s.load != u.wanted"), "", ""),
    Mutant("no reason at all counts", _without(guard, "_allowed", READY, "True"), "", ""),
    Mutant("limits forgotten", _without(guard, "_take_back", "total_kw <= limit_kw and "), "", ""),
    Mutant("the largest block forgotten", _without(guard, "_take_back", " and rising_kw <= state.room_kw + stage_kw"),
           "", ""),
    Mutant("what may be closed forgotten",
           _without(guard, "_take_back", "join(unit.profile, u.possible, load)", "load"), "", ""),
    Mutant("fans of loaded units forgotten", _without(guard, "guard", "u.possible and not u.fan", "False"), "", ""),
    Mutant("openings not repeated",
           _without(guard, "_order", "u.possible != new and not lowers(profile, u.possible, new)", "old != new"),
           "", ""),
    Mutant("found load written to", _without(guard, "_order", " or undecided(state, u)"), "", ""),
    Mutant("written to before charge", _without(guard, "_order", "not state.charge or local", "local"), "", ""),
    Mutant("a drop that is not urgent",
           _without(guard, "guard", "state.dropped and any(o.lower for o in orders)", "False"), "", ""),
)  # fmt: skip
OTHERS: tuple[Mutant, ...] = (
    Mutant("a reset that clears what it has not seen",
           _without(obey, "_reset", "u.unclosed = s.unclosed", "u.unclosed = 0"), "refused", CLOSES),
    Mutant("a debt that is paid without air", _without(cooldown, "cooldown", " and s.reading.airflow is True"), "", ""),
    Mutant("a debt that is paid by time alone", _without(cooldown, "cooldown", " and u.fan and ", " and "), "", ""),
)  # fmt: skip


def row_mutants() -> tuple[Mutant, ...]:
    """Each row of the interlocks taken out, and turned round."""
    gone = [Mutant(f"{row}: gone", RowChange(row, negated=False), world, law) for row, world, law in INTERLOCKS]
    turned = [Mutant(f"{row}: negated", RowChange(row, negated=True), world, "") for row, world, _ in INTERLOCKS]
    return (*gone, *turned)


MUTANTS: tuple[Mutant, ...] = (*row_mutants(), *RUNGS, *GUARD, *OTHERS)
