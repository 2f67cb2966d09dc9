"""Orders of clients: every verb by its name, and an answer that says what the scan did with each."""

import asyncio
import time
from typing import Any

import pytest

from benchctl.controller.news import NOT_TOLD, answers
from benchctl.core.causes import ROWS
from benchctl.core.command import Command, Verb
from benchctl.core.decision import Event
from benchctl.core.orders import Write
from benchctl.door.server import Rejected
from tests.controller.bench import LEE, LONG, bench

# What comes of each verb on a bench that nobody has charge of, without load and program.
AT_REST = {
    "take charge": "",
    "take over": "nobody has taken charge: take it",
    "start": "no program is chosen",
    "set load": "nobody has taken charge",
    "switch": "nobody has taken charge",
    "shelve": f"can be shelved: {', '.join(row.key for row in ROWS if row.shelve)}",
    "pause": "no program runs",
    "resume": "no program runs",
    "extend": "say how many seconds, up to a day",
    "skip": "no program runs",
    "answer": "no question is open",
    "unload": "",
    "drop": "",
    "reset": "",
    "acknowledge": "nothing to acknowledge",
    "join": "nobody has taken charge",
    "override": "an override needs a reason",
    "confirm fans": "",
    "remark": "",
    "reading": "",
    "adopt": "nobody has taken charge",
    "check in": "",
}
CARRIED: dict[str, dict[str, Any]] = {
    "set load": {"value": 20.0},
    "answer": {"text": "yes"},
    "join": {"unit": "bank 1"},
    "confirm fans": {"unit": "bank 1"},
    "override": {"text": "check load"},
    "remark": {"text": "rain"},
    "reading": {"text": "oil_kpa=420"},
}


def test_the_table_names_every_verb():
    assert set(AT_REST) == {verb.value for verb in Verb}


@pytest.mark.parametrize("verb", AT_REST)
async def test_every_verb_is_given_by_its_name_and_its_refusal_comes_back_whole(tmp_path, verb):
    async with bench(tmp_path) as here:
        await here.until(lambda: here.frames)
        keys = CARRIED.get(verb, {})
        if AT_REST[verb]:
            with pytest.raises(Rejected) as refused:
                await here.order(verb, **keys)
            assert str(refused.value) == AT_REST[verb]
        else:
            told = await here.order(verb, **keys)
            assert told["scan"] == next(f.number for f, _ in here.frames if f.inputs.commands)
        heard = [h.event for h in here.events if h.event.kind == ("refused" if AT_REST[verb] else "command")]
        assert [(event.text.split(":")[0].startswith(verb), event.who) for event in heard] == [(True, "Kim")]


async def test_an_unknown_verb_is_told_with_the_known_ones(tmp_path):
    async with bench(tmp_path) as here:
        with pytest.raises(Rejected, match=r"^'raise': known are take charge, take over, start, .*check in, .*$"):
            await here.order("raise")


async def test_an_unknown_unit_is_told_with_the_known_ones_and_begins_no_record(tmp_path):
    async with bench(tmp_path) as here:
        with pytest.raises(Rejected, match=r"^'bank 9': no such unit; there are bank 1, bank 2$"):
            await here.order("join", unit="bank 9")
    assert here.runs() == []


async def test_an_order_names_its_unit(tmp_path):
    async with bench(tmp_path) as here:
        await here.order("take charge")
        await here.order("join", unit="bank 2")
        (event,) = [h.event for h in here.events if h.event.text.startswith("join")]
    assert event.unit == 1


async def test_whoever_an_order_names_stands_in_the_record_else_whoever_said_hello(tmp_path):
    async with bench(tmp_path) as here:
        await here.order("remark", LEE, text="one")
        await here.order("remark", LEE, text="two", who="Alex")
        said = [(h.event.text, h.event.who) for h in here.events if h.event.kind == "command"]
    assert said == [("remark one", "Lee"), ("remark two", "Alex")]


async def test_an_order_based_on_a_picture_older_than_two_seconds_is_refused(tmp_path):
    """The two seconds are common practice here, no source."""
    async with bench(tmp_path) as here:
        old = (await here.until(lambda: here.requests.latest)).number
        begun_s = time.monotonic()
        await here.until(lambda: time.monotonic() - begun_s > 2.1)
        with pytest.raises(Rejected, match=r"^older than 2 s$"):
            await here.order("take charge", based_on=old)
        assert not here.state.charge
        await here.order("take charge", based_on=here.newest)
        assert here.state.charge == "Kim"


@pytest.mark.parametrize("ahead", [1000, 2**53 - 1])
async def test_an_order_based_on_a_picture_that_never_was_is_refused(tmp_path, ahead):
    async with bench(tmp_path) as here:
        await here.until(lambda: here.requests.latest)
        with pytest.raises(Rejected, match=r"^older than 2 s$"):
            await here.order("take charge", based_on=ahead)


@pytest.mark.parametrize("verb", ["unload", "drop"])
async def test_whatever_takes_load_off_is_never_too_old(tmp_path, verb):
    async with bench(tmp_path) as here:
        await here.until(lambda: here.requests.latest)
        await here.order(verb, based_on=2**53 - 1)


async def test_in_a_rehearsal_faster_than_people_no_picture_is_too_old(tmp_path):
    async with bench(tmp_path, rehearsal=True, speed=10.0) as here:
        await here.until(lambda: here.requests.latest)
        await here.order("remark", text="quick", based_on=10**6)


async def test_two_people_in_one_scan_get_each_their_own_answer(tmp_path):
    async with bench(tmp_path) as here:
        await here.order("take charge")
        asked = [
            here.order("set load", value=1e6),
            here.order("remark", LEE, text="a: b"),
            here.order("pause", LEE),
            here.order("set load", LEE, value=20.0),
            here.order("extend", value=-1.0),
        ]
        got = await asyncio.gather(*asked, return_exceptions=True)
    told = [str(answer) if isinstance(answer, Rejected) else "" for answer in got]
    assert told[0].startswith("above the limit of ")
    assert told[1:] == ["", "no program runs", "", "say how many seconds, up to a day"]
    (frame,) = [f for f, _ in here.frames if len(f.inputs.commands) > 1]
    assert len(frame.inputs.commands) == len(asked)


async def test_a_colon_in_what_was_said_does_not_cut_the_refusal(tmp_path):
    async with bench(tmp_path) as here:
        with pytest.raises(Rejected, match=r"^can be overridden: cool-down, check load$"):
            await here.order("override", text="fan: proof", why="we saw it: it turns")
        with pytest.raises(Rejected, match=r"^no program runs$"):
            await here.order("pause", why="wait: rain")


async def test_what_a_unit_refuses_is_nobodys_answer(tmp_path):
    async with bench(tmp_path) as here:
        await here.order("take charge")
        await here.cool()
        for unit in here.units.plant.units:
            unit.closing = Write.REFUSED
        await here.order("set load", value=20.0)
        await here.until(lambda: [h for h in here.events if "refused a closing" in h.event.text])
        for _ in range(5):  # in whatever scan the unit refuses again
            with pytest.raises(Rejected, match=r"^no program runs$"):
                await here.order("pause", LEE)


def test_answers_are_those_of_the_orders_in_their_order():
    commands = (Command(Verb.PAUSE, "Kim"), Command(Verb.REMARK, "Lee", text="pause: x"), Command(Verb.SKIP, "Kim"))
    events = (
        Event("refused", "bank 1 refused a closing", 0),
        Event("refused", "pause wait: rain: no program runs", -1, "Kim", (("why", "no program runs"),)),
        Event("lost", "bank 2 has not answered for 10 s", 1),
        Event("command", "remark pause: x", -1, "Lee"),
        Event("refused", "bank 2 refused a closing", 1),
        Event("refused", "skip: the program is through", -1, "Kim", (("why", "the program is through"),)),
    )
    assert answers(commands, events) == ["no program runs", "", "the program is through"]


def test_where_deciding_failed_no_order_has_an_answer():
    failed = Event("fault", "deciding failed, everything is ordered open: KeyError: 3")
    assert answers((Command(Verb.PAUSE), Command(Verb.SKIP)), (failed,)) == [NOT_TOLD] * 2


async def test_where_nobody_scans_an_order_is_rejected_in_words_after_a_while(tmp_path):
    async with bench(tmp_path, answer_s=0.2) as here:
        await here.order("take charge")
        here.units.stalled = True
        with pytest.raises(Rejected, match=r"^given to the bench, but no scan has answered$"):
            await here.order("remark", text="lost")
        here.units.stalled = False
        with pytest.raises(Rejected, match=r"^no program runs$"):  # not the answer of the one before
            await here.order("pause")


async def test_where_nobody_scans_no_run_begins(tmp_path):
    async with bench(tmp_path, answer_s=0.2) as here:
        await here.until(lambda: here.frames)
        here.units.stalled = True
        seen = len(here.frames)
        await asyncio.sleep(0.05)
        with pytest.raises(Rejected, match=r"^no scan has begun the run$"):
            await here.order("take charge")
        assert len(here.frames) <= seen + 1
        here.units.stalled = False
        await here.order("take charge")


async def test_after_the_end_orders_are_rejected_in_words(tmp_path):
    async with bench(tmp_path) as here:
        await here.until(lambda: here.frames)
        await asyncio.to_thread(here.owner.stop)
        for verb in ("drop", "take charge", "remark"):
            with pytest.raises(Rejected, match=r"^the engine has ended$"):
                await here.order(verb)
        with pytest.raises(Rejected, match=r"^the engine has ended$"):
            await here.program(LONG)


async def test_a_look_tells_every_device_as_far_as_it_is_known(tmp_path):
    async with bench(tmp_path) as here:
        await here.until(lambda: here.requests.latest)
        rows = (await here.look())["rows"]
    assert [row["name"] for row in rows] == ["bank 1", "bank 2", "source meter"]
    assert all(row["reached"] for row in rows)
    assert [row["load_on"] for row in rows[:2]] == [False, False]


async def test_a_look_before_the_first_scan_has_no_rows(tmp_path):
    async with bench(tmp_path, stalled=True) as here:
        assert (await here.look())["rows"] == []
        with pytest.raises(Rejected, match=r"^nothing has been read yet$"):
            await here.program()


async def test_a_history_is_thinned_out_and_begins_where_it_is_asked_to(tmp_path):
    async with bench(tmp_path) as here:
        await here.until(lambda: here.frames and here.frames[-1][0].inputs.now_s > 20.0)
        assert here.session.current is None
        told = await here.history()
        whole = told["rows"]
        few = (await here.history(points=5))["rows"]
        late = (await here.history(since_s=15.0))["rows"]
    assert len(few) <= 5 < len(whole)
    assert all(len(row) == len(told["columns"]) for row in whole)
    assert min(row[0] for row in late) >= 15.0
    times = [row[0] for row in whole]
    assert times == sorted(times)
    assert [row[1] for row in whole] == [0.0] * len(whole)
