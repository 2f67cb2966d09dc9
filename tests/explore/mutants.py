"""Bugs seeded on purpose into the core, and the small world whose exploration must catch each, by which law.

A mutant is made from the text of the product's own functions, so that one which no longer fits its text fails loudly.
"""

import inspect
from collections.abc import Iterator
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
        before = through.__code__
        through.__code__ = room[self.function].__code__  # wherever the function is known by now
        try:
            yield
        finally:
            through.__code__ = before


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


BACK = "law 5: "
RUNGS: tuple[Mutant, ...] = (
    Mutant("commands after the alarms", _rungs("obey", "alarms"), "refused", CLOSES),
    Mutant("commands after the interlocks", _rungs("obey", "interlocks"), "stop", "law 1"),
    Mutant("the clock after the interlocks", _rungs("advance", "interlocks"), "stop", "law 1"),
    Mutant("interlocks before the alarms", _rungs("alarms", "interlocks"), "hot", OFF),
)
READY = 's.unable == "" and u.fan and u.proven and s.reading.airflow is True and s.ratio <= profile.highest_v_ratio'
FOLLOWED = " or u.follow_s > 0.0 or s.load != u.wanted"
GUARD: tuple[Mutant, ...] = (
    Mutant("a drop forgotten", _without(guard, "_allowed", "state.dropped or "), "reckless", "law 1"),
    Mutant("units that are off forgotten", _without(guard, "_allowed", " or u.out"), "reckless and hot", OFF),
    Mutant("reasons forgotten", _without(guard, "_allowed", 's.unable == "" and '), "reckless and hot", "law 2"),
    Mutant("a fan that is not ordered", _without(guard, "_allowed", "u.fan and "), "reckless", "law 2"),
    Mutant("a trip forgotten", _without(guard, "_allowed", " or state.trip is not None"),
           "reckless with power", "react: a closing in an unload"),
    Mutant("another load than ordered", _without(guard, "_allowed", " or s.load != u.wanted"),
           "reckless and stuck", "react: more is on"),
    Mutant("closings that follow each other", _without(guard, "_allowed", FOLLOWED), "reckless and slow", BACK),
    Mutant("no reason at all counts", _without(guard, "_allowed", READY, "True"), "reckless", "law 2"),
    Mutant("limits forgotten", _without(guard, "_take_back", "total_kw <= limit_kw and "), "reckless", "law 4"),
    Mutant("the largest block forgotten",
           _without(guard, "_take_back", " and rising_kw <= state.room_kw + stage_kw"), "reckless in blocks", "law 4"),
    Mutant("what may be closed forgotten",
           _without(guard, "_take_back", "join(unit.profile, u.possible, load)", "load"), "reckless", "law 4"),
    Mutant("openings not repeated",
           _without(guard, "_order", "u.possible != new and not lowers(profile, u.possible, new)", "old != new"),
           "contactors", "react: more is on"),
    Mutant("found load written to", _without(guard, "_order", " or undecided(state, u)"), "load found on", "law 2"),
    Mutant("written to before charge",
           _without(guard, "_order", "not state.charge or local", "local"), "first contact", "react: written"),
    Mutant("a drop that is not urgent",
           _without(guard, "guard", "state.dropped and any(o.lower for o in orders)", "False"),
           "first contact", "law 1"),
)  # fmt: skip
OTHERS: tuple[Mutant, ...] = (
    Mutant("a reset that clears what nobody has seen",
           _without(obey, "_reset", "u.unclosed = s.unclosed", "u.unclosed = 0"), "refused", CLOSES),
    Mutant("a debt that is paid without air",
           _without(cooldown, "cooldown", " and s.reading.airflow is True"), "first contact", "law 3"),
    Mutant("a debt that is paid by wind",
           _without(cooldown, "cooldown", "u.hot and u.fan and ", "u.hot and "), "wind", "law 3"),
)  # fmt: skip
# Changes that no law can see, because another place sees to the same: what is written twice on purpose.
SURVIVORS: tuple[tuple[str, Edit, str], ...] = (
    ("commands after the clock", _rungs("obey", "advance"),
     "the target follows a command one scan later; whatever is safer comes after both"),
    ("attendance before the clock", _rungs("advance", "attendance"),
     "an unload begins in the same scan, its first step comes one scan sooner"),
    ("attendance after the alarms", _rungs("attendance", "alarms"), "its alarms are told one scan later"),
    ("charge forgotten", _without(guard, "_allowed", "not state.charge or "),
     "no unit joins without charge, and charge is never given back"),
    ("units that have not joined forgotten", _without(guard, "_allowed", " or not u.joined"),
     "that it has not joined is a reason of its own (core/unable.py), and nothing is wanted of it"),
    ("air that is not proven", _without(guard, "_allowed", "u.proven and "),
     "that it is not is a reason of its own (core/unable.py)"),
    ("air that is gone", _without(guard, "_allowed", "s.reading.airflow is True and "),
     "air that is read as gone, or not read, is not proven (core/perceive.py)"),
    ("volts that are too high", _without(guard, "_allowed", " and s.ratio <= profile.highest_v_ratio"),
     "they are a reason of their own (core/unable.py)"),
    ("a closing upon a closing", _without(guard, "_allowed", " or u.follow_s > 0.0"),
     "as long as one is under way, what is read back is not what is wanted"),
    ("fans of loaded units forgotten", _without(guard, "guard", "u.possible and not u.fan", "False"),
     "cool-down has ordered them already"),
)  # fmt: skip
SPECIAL = {"load without air": "law 2"}  # a row turned round that another law meets first


def row_mutants() -> tuple[Mutant, ...]:
    """Each row of the interlocks taken out, and turned round."""
    gone = [Mutant(f"{row}: gone", RowChange(row, negated=False), world, law) for row, world, law in INTERLOCKS]
    turned = [
        Mutant(f"{row}: negated", RowChange(row, negated=True), world, SPECIAL.get(row, CALM))
        for row, world, _ in INTERLOCKS
    ]
    return (*gone, *turned)


MUTANTS: tuple[Mutant, ...] = (*row_mutants(), *RUNGS, *GUARD, *OTHERS)
