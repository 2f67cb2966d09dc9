"""Every refusal of a command: each text that the source can say is heard once, and a refusal changes nothing."""

import ast
import inspect
import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

import pytest

from benchctl.core import by_hand, course, obey, readings
from benchctl.core.command import Command, Verb
from benchctl.core.reading import Outcome
from benchctl.core.site import Limits
from benchctl.core.state import Mode
from tests.core.test_obey import NAN, PLACE, REFUSALS, TEST, fresh, loaded, ready, running
from tests.core.worlds import Stepper, site, staged, stepped

Scene = Callable[[Stepper], None]
Row = tuple[Verb, dict[str, Any], Scene, str]


def through(w: Stepper) -> None:
    """Paused, and the last leg skipped: nothing is left to skip."""
    running(w)
    w.scan(Command(Verb.PAUSE), Command(Verb.SKIP))


def asked(w: Stepper) -> None:
    """Load fell, and the operator is asked."""
    running(w)
    next(u for u in w.plant.units if u.load).load = 0
    w.scan()


def check_failed(w: Stepper) -> None:
    w.settings = replace(w.settings, program=replace(TEST, check_load=True))
    w.ready()
    w.plant.told = lambda e: replace(e, phase_kw=tuple(-(kw or 0.0) for kw in e.phase_kw))  # type: ignore[arg-type]
    w.scan(Command(Verb.START))
    w.until(lambda w: w.state.prompt is not None)


def not_identified(w: Stepper) -> None:
    w.ready()
    w.plant.units[0].fields = {"identity_ok": False}
    w.run(1.0)


def no_program(w: Stepper) -> None:
    w.settings = replace(w.settings, program=None, legs=())
    w.ready()


def stopped(w: Stepper) -> None:
    """Its emergency stop has been pressed and is still in."""
    w.ready()
    w.plant.units[0].fields = {"emergency_stop": True}
    w.run(1.0)


def set_point(w: Stepper) -> None:
    """The second unit has a set point."""
    w.__init__(site(staged(20.0), stepped(60.0, 20.0)), TEST)  # type: ignore[misc]
    w.ready()


def lost_under_load(w: Stepper) -> None:
    loaded(w)
    w.plant.units[0].silent = Outcome.SILENT
    w.run(6.0)


def local_under_load(w: Stepper) -> None:
    loaded(w)
    w.plant.units[0].fields = {"remote": False}
    w.run(1.0)


def small_source(w: Stepper) -> None:
    """As much is on as the source may give."""
    w.__init__(site(staged(20.0, 40.0), nameplate_kw=40.0), TEST)  # type: ignore[misc]
    w.loaded(40.0)


def small_block(w: Stepper) -> None:
    w.__init__(site(staged(20.0, 60.0), limits=Limits(largest_block_up_percent=2.5)), TEST)  # type: ignore[misc]
    w.ready()
    w.scan(Command(Verb.SWITCH))
    w.run(60.0)


def not_followed_yet(w: Stepper) -> None:
    w.loaded(20.0)
    for fake in w.plant.units:
        fake.wont_close = 3
    w.scan(*[Command(Verb.SWITCH, unit=i, text="2", value=1.0) for i in (0, 1)])


def not_followed(w: Stepper) -> None:
    not_followed_yet(w)
    w.run(5.0)


CLOSE: dict[str, Any] = {"unit": 0, "text": "2", "value": 1.0}
MORE: tuple[Row, ...] = (
    (Verb.SWITCH, {"unit": 1, "value": 50.0}, set_point, "say a set point from 0 to 60 kW in steps of 20 kW"),
    (Verb.SWITCH, {"unit": 1, "value": 80.0}, set_point, "say a set point from 0 to 60 kW in steps of 20 kW"),
    (Verb.SWITCH, {"unit": 1, "value": NAN}, set_point, "say a set point from 0 to 60 kW in steps of 20 kW"),
    (Verb.SWITCH, {**CLOSE, "value": 0.0}, lost_under_load, "that is ordered already"),
    (Verb.SWITCH, {**CLOSE, "value": 0.0}, local_under_load, "it takes no orders from us"),
    (Verb.SWITCH, {**CLOSE, "text": "1"}, small_source, "above the limit of 42 kW"),
    (Verb.SWITCH, CLOSE, small_block, "the largest block leaves room for 30 kW now"),
    (Verb.SWITCH, {**CLOSE, "text": "1", "unit": 1}, not_followed_yet, "what was asked of it before is not read back"),
    (Verb.SWITCH, CLOSE, not_followed, "it did not follow, or draws nothing: reset it first"),
    (Verb.START, {}, no_program, "no program is chosen"),
    (Verb.START, {}, loaded, "load is on or a program runs"),
    (Verb.SKIP, {}, through, "the program is through"),
    (Verb.EXTEND, {"value": 60.0}, through, "no hold runs"),
    (Verb.EXTEND, {"value": float("nan")}, running, "how many seconds"),
    (Verb.ANSWER, {"text": "maybe"}, asked, "answer yes or no"),
    (Verb.ANSWER, {"text": "yes"}, check_failed, "needs an override with a reason first"),
    (Verb.JOIN, {"unit": 0}, not_identified, "known values do not read"),
    (Verb.CONFIRM_FANS, {"unit": 0}, stopped, "still operated"),
    (Verb.SET_LOAD, {"value": 20.0, "age_s": 2.1}, ready, "older than 2 s"),
    (Verb.REMARK, {"unit": 2}, fresh, "there is no such unit"),
    (Verb.CONFIRM_FANS, {"unit": -1}, ready, "there is no such unit"),
)
ROWS = (*REFUSALS, *MORE)
NAMES = [f"{verb.value}: {why}" for verb, _, _, why in ROWS]


def texts() -> set[str]:
    """Patterns of all that a command may be refused with: what the verbs return, and what is named a refusal."""
    found: set[str] = set()
    helpers = (
        course.answered,
        readings.values_of,
        by_hand.not_by_hand,
        by_hand._switch,
        by_hand._asked,
        by_hand._not_now,
    )
    functions: tuple[Callable[..., object], ...] = (obey.obey, *helpers, *obey.VERBS.values())
    for function in functions:
        for node in ast.walk(ast.parse(inspect.getsource(function))):
            named = isinstance(node, ast.Assign) and getattr(node.targets[0], "id", "") == "refusal"
            if named or isinstance(node, ast.Return):
                found |= set(patterns(node.value))  # type: ignore[attr-defined]
    return found


def patterns(value: ast.expr | None) -> Iterator[str]:
    """Patterns of the texts of an expression: a constant, a name of one, one with values in it, or one of two."""
    match value:
        case ast.Constant(value=str(text)) if text:
            yield re.escape(text)
        case ast.Name(id=name) if isinstance(getattr(obey, name, None), str):
            yield re.escape(getattr(obey, name))
        case ast.JoinedStr(values=parts):
            yield "".join(re.escape(str(p.value)) if isinstance(p, ast.Constant) else ".*" for p in parts)
        case ast.IfExp(body=body, orelse=orelse):
            yield from patterns(body)
            yield from patterns(orelse)


def refused(row: Row) -> tuple[Stepper, str]:
    """The bench, and the reason of the refusal without what was said."""
    verb, fields, scene, _ = row
    w = Stepper(PLACE, TEST)
    scene(w)
    w.scan(Command(verb, **fields))
    (event,) = (e for e in w.last.events if e.kind == "refused")
    return w, dict(event.data)["why"]


def test_every_text_that_a_command_can_be_refused_with_is_heard():
    said = {refused(row)[1] for row in ROWS}
    w = Stepper(PLACE, TEST).ready()
    w.scan(Command(Verb.DROP), Command(Verb.RESET))
    said.add(w.heard("refused")[-1].text.partition(": ")[2])
    known = texts()
    assert len(known) > 25
    assert not any(re.fullmatch(p, "no such text") for p in known)
    assert {p for p in known if not any(re.fullmatch(p, text) for text in said)} == set()
    assert {text for text in said if not any(re.fullmatch(p, text) for p in known)} == set()


@pytest.mark.parametrize("row", ROWS, ids=NAMES)
def test_a_refused_command_changes_nothing(row):
    _, _, scene, why = row
    w, reason = refused(row)
    untouched = Stepper(PLACE, TEST)
    scene(untouched)
    untouched.scan()
    assert why in reason
    assert w.state == untouched.state
    assert w.last.orders == untouched.last.orders


def test_of_a_burst_each_command_is_refused_or_obeyed_by_itself():
    w = Stepper(PLACE, TEST).ready()
    w.scan(Command(Verb.SET_LOAD, value=-1.0), Command(Verb.START), Command(Verb.SET_LOAD, value=20.0))
    assert [e.kind for e in w.last.events if e.kind in ("command", "refused")] == ["refused", "command", "refused"]
    assert w.mode() is Mode.CHECK
