"""Programs that clients bring: judged, chosen, started, and never another than the one that was looked at."""

import asyncio
import hashlib
import threading

import pytest

from benchctl.controller import requests as room
from benchctl.core.state import Mode
from benchctl.door.server import Rejected
from tests.controller.bench import KIM, LEE, LONG, PLACE, SHORT, bench


async def test_a_program_is_judged_and_chosen_with_its_own_plan(tmp_path):
    async with bench(tmp_path) as here:
        told = await here.program()
        assert here.state.mode is Mode.IDLE
        assert here.title == "Short"
    assert told["feasible"]
    assert told["refusals"] == []
    assert told["planned_peak_kw"] == 40.0
    assert told["length_s"] >= 5.0
    assert told["unattended"] is PLACE.attendance.unattended
    assert told["lines"]
    assert [(leg["kind"], leg["asked_kw"]) for leg in told["legs"]] == [("ramp", 40.0), ("hold", 40.0)]
    assert told["graph"][-1] == [5.0, 40.0, 40.0]
    assert told["run"] == str(here.runs()[0])
    assert told["sha256"] == hashlib.sha256(SHORT.encode()).hexdigest()
    assert not told["in_hand"]


async def test_a_program_that_was_altered_on_the_way_is_not_chosen(tmp_path):
    async with bench(tmp_path) as here:
        with pytest.raises(Rejected, match=r"^the program did not arrive as it was sent$"):
            await here.program(sha256="0" * 64)
    assert here.runs() == []


async def test_flaws_of_a_program_are_told_with_their_place(tmp_path):
    async with bench(tmp_path) as here:
        with pytest.raises(Rejected, match=r"^short:6:\d+: "):
            await here.program(SHORT.replace("3 s", "three seconds"))
    assert here.runs() == []


async def test_a_program_that_cannot_be_done_is_refused_with_its_lines_and_not_chosen(tmp_path):
    async with bench(tmp_path) as here:
        told = await here.program(SHORT.replace("40 kW", "900 kW"), anyway=True)
        with pytest.raises(Rejected, match=r"^no program is chosen$"):
            await here.order("start")
    assert not told["feasible"]
    assert any("900" in refusal for refusal in told["refusals"])
    assert told["lines"]
    assert "run" not in told


async def test_too_little_room_is_a_refusal_that_anyway_overrules(tmp_path, monkeypatch):
    monkeypatch.setattr(room, "short_of_space", lambda *_: "the record may need 7.0 MB, 1.0 MB are free in runs")
    async with bench(tmp_path) as here:
        told = await here.program()
        wanted = "the record may need 7.0 MB, 1.0 MB are free in runs: make room, or say that you want it anyway"
        assert told["refusals"] == [wanted]
        assert {"severity": "refusal", "text": wanted, "line": None, "leg": None} in told["findings"]
        assert not told["feasible"]
        assert here.session.current is None
        told = await here.program(anyway=True)
        assert told["feasible"]
        assert here.session.current is not None


async def started(here, text=LONG, guest=KIM):
    """A program under way."""
    told = await here.program(text, guest)
    await here.order("take charge", guest)
    await here.cool()
    await here.order("start", guest, text=told["sha256"])
    return told


async def test_the_same_program_again_is_followed_not_chosen_anew(tmp_path):
    async with bench(tmp_path) as here:
        told = await started(here)
        again = await here.program(LONG, LEE)
    assert again["in_hand"]
    assert again["run"] == told["run"]
    assert len(here.runs()) == 1


async def test_another_program_is_refused_while_one_runs(tmp_path):
    async with bench(tmp_path) as here:
        await started(here)
        with pytest.raises(Rejected, match=r"^a run is in hand: unload first$"):
            await here.program(SHORT, LEE)
        await here.until(here.loaded)
        assert here.title == "Long"
    assert len(here.runs()) == 1


async def test_a_program_is_refused_while_load_is_on_that_nobody_started(tmp_path):
    async with bench(tmp_path, load=1) as here:
        with pytest.raises(Rejected, match=r"^load is on: adopt it, unload or drop first$"):
            await here.program()


async def test_a_program_is_refused_while_a_trip_is_latched(tmp_path):
    async with bench(tmp_path) as here:
        await here.order("drop")
        with pytest.raises(Rejected, match=r"^a trip is latched: reset it first$"):
            await here.program()
        await here.order("reset")
        await here.program()


async def test_a_start_does_not_start_a_program_that_somebody_else_has_chosen_meanwhile(tmp_path):
    async with bench(tmp_path) as here:
        mine = await here.program(SHORT, KIM)
        await here.program(LONG, LEE)
        await here.order("take charge")
        with pytest.raises(Rejected, match=r"^this program is not the one that is chosen now: choose it again$"):
            await here.order("start", text=mine["sha256"])
        assert here.state.mode.value == "idle"
        mine = await here.program(SHORT, KIM)
        await here.order("start", text=mine["sha256"])
        assert here.state.mode in (Mode.CHECK, Mode.RUN)  # without a check load the checks are soon over
    assert here.title == "Short"


async def test_two_who_choose_the_same_program_at_once_have_one_run(tmp_path):
    async with bench(tmp_path) as here:
        told = await asyncio.gather(here.program(LONG, KIM), here.program(LONG, LEE))
    assert told[0]["run"] == told[1]["run"]
    assert len(here.runs()) == 1


async def test_of_two_who_choose_and_start_at_once_each_starts_his_own_or_nothing(tmp_path):
    async def choose_and_start(text, guest):
        told = await here.program(text, guest)
        await here.order("start", guest, text=told["sha256"])

    async with bench(tmp_path) as here:
        await here.order("take charge")
        await here.cool()
        got = await asyncio.gather(choose_and_start(SHORT, KIM), choose_and_start(LONG, LEE), return_exceptions=True)
        assert here.state.mode is not Mode.IDLE
        (started_by,) = [h.event.who for h in here.events if h.event.text == "start"]
        title = here.title
    assert (title, started_by) in (("Short", "Kim"), ("Long", "Lee"))
    refused = [str(fault) for fault in got if fault is not None]
    assert len(refused) == 1
    assert refused[0] in (
        "this program is not the one that is chosen now: choose it again",
        "a run is in hand: unload first",
    )


async def test_load_that_comes_on_while_a_programs_record_is_made_keeps_it_from_being_chosen(tmp_path, monkeypatch):
    async with bench(tmp_path) as here:
        await here.order("take charge")
        await here.cool()
        make, asked, free = here.session.make, threading.Event(), threading.Event()

        def slow(session, *args):
            asked.set()
            free.wait(10.0)
            return make(*args)

        monkeypatch.setattr(type(here.session), "make", slow)
        choosing = asyncio.create_task(here.program())
        await here.until(asked.is_set)
        await here.order("set load", value=20.0)
        free.set()
        with pytest.raises(Rejected, match=r"^a run is in hand: unload first$"):
            await choosing
        assert here.frames[-1][1].program is None
        await here.until(lambda: here.outcomes)
    assert here.outcomes[0]["outcome"] == "not started"


async def test_an_unload_in_the_moment_of_a_choice_harms_neither(tmp_path):
    async with bench(tmp_path) as here:
        await here.order("take charge")
        await asyncio.gather(here.program(), here.order("unload", LEE))
        assert here.frames[-1][1].program is not None
        assert here.session.current is not None
