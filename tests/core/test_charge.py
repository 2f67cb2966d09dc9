"""Who holds the controls: one person at one console, taken over with a reason that everybody is told.

That whatever takes load off is everybody's, that a person who is not in charge only watches, and that whoever stands at
the engine tells what he reads there, is common practice at a test, no source.
"""

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.core.charge import EVERYBODYS, NOBODY, TAKING, held, watches
from benchctl.core.command import Command, Verb
from benchctl.core.decide import decide
from benchctl.core.decision import Event
from benchctl.core.inputs import Inputs
from benchctl.core.program import Hold, Program
from benchctl.core.state import Mode
from tests.core.test_obey import TEST
from tests.core.worlds import Stepper, program, site, staged

FIRST, SECOND = "console 1", "console 2"
BOTH = (FIRST, SECOND)
ROBIN: dict[str, Any] = {"who": "Robin", "console": FIRST}
KIM: dict[str, Any] = {"who": "Kim", "console": SECOND}
ORDERS = [verb for verb in Verb if verb not in (*EVERYBODYS, *TAKING)]


def world(tested: Program = TEST, **changes: Any) -> Stepper:
    w = Stepper(site(staged(20.0, 40.0), staged(20.0, 40.0), **changes), tested)
    w.consoles = BOTH
    return w


def charged(tested: Program = TEST, **changes: Any) -> Stepper:
    """Robin has charge at the first console, and the banks may be loaded."""
    w = world(tested, **changes)
    w.scan()
    w.scan(Command(Verb.TAKE_CHARGE, **ROBIN))
    w.until(lambda w: not any(u.hot for u in w.state.units))
    return w


def loaded() -> Stepper:
    w = charged()
    w.scan(Command(Verb.SET_LOAD, value=40.0, **ROBIN))
    w.until(lambda w: w.kw() == 40.0)
    return w


def refusal(w: Stepper, command: Command) -> str:
    """Why a command is refused; empty when it is not."""
    told = [e for e in w.scan(command).events if e.kind in ("refused", "command")]
    assert len(told) == 1
    return str(dict(told[0].data).get("why", ""))


def has(w: Stepper) -> tuple[str, str]:
    return w.state.charge, w.state.console


@pytest.mark.parametrize("verb", ORDERS)
def test_whoever_only_watches_is_refused_every_order_with_the_name_of_who_has_charge(verb):
    w = charged()
    before = replace(w.state, person_s=0.0)
    why = refusal(w, Command(verb, value=20.0, text="yes", unit=0, why="a reason", **KIM))
    assert why == "Robin at console 1 has charge: take over, with a reason, to order"
    assert has(w) == ("Robin", FIRST)
    assert (w.state.target_kw, w.state.mode) == (before.target_kw, before.mode)


@pytest.mark.parametrize("verb", sorted(EVERYBODYS, key=str))
def test_what_takes_load_off_and_signs_of_people_are_everybodys_and_give_nobody_charge(verb):
    w = loaded()
    assert refusal(w, Command(verb, text="oil_kpa=420", **KIM)) == ""
    assert has(w) == ("Robin", FIRST)
    if verb in (Verb.UNLOAD, Verb.DROP):
        w.until(lambda w: w.kw() == 0.0)


def test_whoever_stands_at_the_engine_types_in_what_he_reads_and_it_bears_his_name():
    w = charged(program(Hold(60.0), readings=("oil_kpa",), reading_interval_s=600.0))
    w.scan(Command(Verb.START, **ROBIN))
    w.until(lambda w: w.state.reading_owed_s is not None)
    assert refusal(w, Command(Verb.READING, text="oil_kpa=42", **KIM)) == ""
    assert w.state.reading_owed_s is None, "it is the one that was due"
    assert refusal(w, Command(Verb.READING, text="correct 1: oil_kpa=420", **KIM)) == ""
    taken, corrected = w.heard("reading")
    assert (taken.who, dict(taken.data)["oil_kpa"]) == ("Kim", 42.0)
    assert (corrected.who, dict(corrected.data)["oil_kpa"]) == ("Kim", 420.0)
    assert has(w) == ("Robin", FIRST)
    given = [dict(e.data)["console"] for e in w.heard("command") if e.text.startswith("reading")]
    assert given == [SECOND, SECOND]


@pytest.mark.parametrize("verb", [Verb.UNLOAD, Verb.DROP])
@pytest.mark.parametrize("changes", [{"age_s": 60.0}, {"unit": 99}, {"who": ""}, {"console": ""}])
def test_nothing_keeps_anybody_from_taking_load_off(verb, changes):
    w = loaded()
    assert refusal(w, Command(verb, **KIM | changes)) == ""
    w.until(lambda w: w.kw() == 0.0)


def test_a_take_over_names_both_the_consoles_and_the_reason_and_moves_nothing_else():
    w = loaded()
    before = [(u.wanted, u.joined) for u in w.state.units]
    w.scan(Command(Verb.TAKE_OVER, why="shift change", **KIM))
    assert has(w) == ("Kim", SECOND)
    (told,) = w.heard("taken over")
    assert told.text == "Kim at console 2 has taken over from Robin at console 1: shift change"
    assert told.who == "Kim"
    assert dict(told.data) == {
        "from_who": "Robin", "from_console": FIRST, "console": SECOND, "why": "shift change"}  # fmt: skip
    assert (w.kw(), w.state.target_kw) == (40.0, 40.0)
    assert [(u.wanted, u.joined) for u in w.state.units] == before
    assert refusal(w, Command(Verb.SET_LOAD, value=60.0, **ROBIN)).startswith("Kim at console 2 has charge")
    assert refusal(w, Command(Verb.SET_LOAD, value=60.0, **KIM)) == ""


@pytest.mark.parametrize("why", ["", " ", "\t"])
def test_a_take_over_without_a_reason_is_refused_while_the_other_console_is_attached(why):
    w = charged()
    assert refusal(w, Command(Verb.TAKE_OVER, why=why, **KIM)) == "Robin at console 1 has charge: say why you take over"
    assert has(w) == ("Robin", FIRST)
    w.consoles = (SECOND,)
    assert refusal(w, Command(Verb.TAKE_OVER, why=why, **KIM)) == ""
    assert has(w) == ("Kim", SECOND)
    assert "not attached any more" in w.heard("taken over")[0].text


def test_charge_that_another_has_is_not_taken_but_taken_over():
    w = charged()
    why = refusal(w, Command(Verb.TAKE_CHARGE, why="cautions confirmed", **KIM))
    assert why == "Robin at console 1 has charge: take over, with a reason"
    w.consoles = (SECOND,)
    assert refusal(w, Command(Verb.TAKE_CHARGE, why="cautions confirmed", **KIM)) == ""
    assert has(w) == ("Kim", SECOND)
    assert len(w.heard("taken over")) == 1


def test_another_person_at_the_same_console_says_why_too():
    w = charged()
    assert "take over" in refusal(w, Command(Verb.TAKE_CHARGE, "Kim", console=FIRST))
    assert "say why" in refusal(w, Command(Verb.TAKE_OVER, "Kim", console=FIRST))
    assert refusal(w, Command(Verb.TAKE_OVER, "Kim", "Robin eats", console=FIRST)) == ""
    assert has(w) == ("Kim", FIRST)


def test_the_same_person_at_two_consoles_orders_at_one():
    w = charged()
    elsewhere: dict[str, Any] = {"who": "Robin", "console": SECOND}
    assert refusal(w, Command(Verb.SET_LOAD, value=20.0, **elsewhere)).startswith("Robin at console 1 has charge")
    w.consoles = (SECOND,)  # its terminal has died
    assert refusal(w, Command(Verb.SET_LOAD, value=20.0, **elsewhere)) == ""
    assert has(w) == ("Robin", SECOND)
    (told,) = w.heard("charge")
    assert told.text == "Robin at console 2 has charge; console 1 is not attached any more"
    w.consoles = BOTH  # it was only stopped, and goes on
    assert refusal(w, Command(Verb.PAUSE, **ROBIN)).startswith("Robin at console 2 has charge: take over")


def test_whose_console_is_gone_is_named_to_others_with_the_way_on():
    w = charged()
    w.consoles = (SECOND,)
    why = refusal(w, Command(Verb.SET_LOAD, value=20.0, **KIM))
    assert why == "Robin at console 1 has charge and is not attached: take charge to order"
    assert has(w) == ("Robin", FIRST)


def test_a_console_that_is_gone_changes_nothing_by_itself_and_attendance_acts_as_ever():
    w = loaded()
    w.attached, w.consoles = True, (SECOND,)
    w.run(10.0)
    assert has(w) == ("Robin", FIRST)
    assert w.kw() == 40.0
    w.attached, w.consoles = False, ()
    w.until(lambda w: w.kw() == 0.0, 600.0)
    assert [e for e in w.heard("unattended") if "nobody has been attached" in e.text]
    assert has(w) == ("Robin", FIRST)


def test_a_session_that_was_unattended_has_to_be_watched_by_who_takes_it_over():
    place = site(staged(20.0, 40.0))
    w = charged(attendance=replace(place.attendance, unattended=True))
    w.scan(Command(Verb.TAKE_CHARGE, text="unattended", **ROBIN))
    assert w.state.unattended
    w.scan(Command(Verb.TAKE_OVER, why="I stay", **KIM))
    assert not w.state.unattended


def test_charge_that_nobody_has_is_anybodys():
    w = world()
    w.plant.units[0].load, w.plant.units[0].fan = 1, True
    w.run(1200.0)
    assert w.state.charge == NOBODY
    assert refusal(w, Command(Verb.RESET, **KIM)) == ""
    assert refusal(w, Command(Verb.TAKE_CHARGE, **KIM)) == ""
    assert has(w) == ("Kim", SECOND)
    assert w.heard("taken over") == []


def test_an_unload_where_nobody_has_charge_gives_it_to_whoever_asked_and_his_console():
    w = world()
    w.plant.units[0].load, w.plant.units[0].fan = 1, True
    w.scan()
    w.scan(Command(Verb.UNLOAD, **KIM))
    assert has(w) == ("Kim", SECOND)


def test_an_order_that_is_too_old_or_of_no_unit_moves_no_charge():
    w = charged()
    w.consoles = (SECOND,)
    w.scan(Command(Verb.SET_LOAD, "Robin", value=20.0, console=SECOND, age_s=9.0))
    w.scan(Command(Verb.JOIN, "Robin", unit=9, console=SECOND))
    assert has(w) == ("Robin", FIRST)


def test_every_command_stands_with_who_why_and_its_console():
    w = charged()
    w.scan(Command(Verb.REMARK, text="rain", why="seen", **KIM), Command(Verb.PAUSE, **ROBIN))
    said, refused = w.events[-2:]
    assert (said.kind, said.text, said.who, dict(said.data)) == (
        "command", "remark rain seen", "Kim", {"console": SECOND})  # fmt: skip
    assert (refused.kind, refused.who, dict(refused.data)["console"]) == ("refused", "Robin", FIRST)


# Laws, whatever people do

LOADED = loaded()
PEOPLE = st.sampled_from(["Robin", "Kim", "Lee", ""])
CONSOLES = ("console 1", "console 2", "shell 1")
COMMANDS = st.builds(
    Command,
    st.one_of(st.sampled_from(TAKING), st.sampled_from(list(Verb))),
    PEOPLE,
    st.sampled_from(["", " ", "shift change"]),
    st.sampled_from([None, 0.0, 40.0]),
    st.sampled_from(["", "yes", "no", "all"]),
    st.sampled_from([None, 0, 5]),
    st.sampled_from([0.0, 0.0, 0.0, 5.0]),
    st.sampled_from(["", *CONSOLES]),
)
SCANS = st.lists(
    st.tuples(st.lists(COMMANDS, max_size=3), st.sets(st.sampled_from(CONSOLES[:2])).map(sorted)), max_size=12
)


def passes(events: list[Event]) -> list[Event]:
    return [e for e in events if e.kind in ("taken over", "charge") and "from_who" in dict(e.data)]


@settings(max_examples=150, deadline=None)
@given(SCANS, st.booleans())
def test_one_holds_no_take_over_is_silent_and_who_does_not_hold_orders_nothing(scans, begun):
    w = loaded() if begun else world()
    w.scan()
    for commands, there in scans:
        w.consoles = tuple(there)
        at = (w.state.charge, w.state.console)
        told = list(w.scan(*commands).events)
        after = (w.state.charge, w.state.console)
        # charge goes from hand to hand through what is told, and through nothing else
        moved = passes(told)
        for event in moved:
            data = dict(event.data)
            assert (data["from_who"], data["from_console"]) == at or not held(at[0])
            at = (event.who, data["console"])
        assert at == after or not held(at[0])
        # by each command in its turn: the outcome of those that are not their sender's to give
        answers = [e for e in told if e.kind == "command" or (e.kind == "refused" and e.data)]
        assert len(answers) == len(commands)
        for command, answer in zip(commands, answers, strict=True):
            if command.verb in (Verb.UNLOAD, Verb.DROP):
                assert answer.kind == "command"
            if command.verb is Verb.TAKE_OVER and answer.kind == "command":
                event = next(e for e in moved if e.who == command.who and dict(e.data)["console"] == command.console)
                from_there = dict(event.data)["from_console"] in there
                assert command.why.strip() or not from_there


@settings(max_examples=150, deadline=None)
@given(COMMANDS, st.sets(st.sampled_from(CONSOLES[:2])).map(sorted), st.sampled_from(["console 1", "shell 1", ""]))
def test_an_order_of_who_only_watches_changes_nothing(command, there, at):
    w, consoles = LOADED, tuple(there)
    state = replace(w.state, console=at)
    only = watches("Robin", at, at in consoles, command.who, command.console)
    if command.verb in (*EVERYBODYS, *TAKING) or not only:
        return
    heard = Inputs(w.now_s + w.dt_s, w.dt_s, *w.plant.read(with_meter=True), (), w.writes, consoles=consoles)
    without = decide(state, heard, w.settings)
    given = decide(state, replace(heard, commands=(command,)), w.settings)
    assert given.state == without.state
    assert given.orders == without.orders
    (said,) = [e for e in given.events if e.kind == "refused"]
    assert "Robin" in said.text or command.age_s > 2.0 or command.unit == 5


def test_a_program_goes_on_through_a_take_over():
    w = charged()
    w.scan(Command(Verb.START, **ROBIN))
    w.until(lambda w: w.state.mode is Mode.RUN)
    w.scan(Command(Verb.TAKE_OVER, why="shift change", **KIM))
    w.scan(Command(Verb.PAUSE, **KIM))
    assert w.state.paused
