"""Runs one after the other in one controller: where each begins and ends, and what stands in its record."""

import asyncio
import threading
from contextlib import suppress

import pytest

from benchctl.controller.session import Session
from benchctl.core.inputs import Recorder as Health
from benchctl.core.reading import Outcome
from benchctl.core.state import Mode
from benchctl.door.server import Rejected
from benchctl.record.reader import Reader
from benchctl.record.replay import replay
from benchctl.record.verify import verify
from tests.controller.bench import KIM, LEE, LONG, SHORT, bench


async def run_to_the_end(here, text=SHORT):
    """Choose, take charge, start; returns the outcome."""
    told = await here.program(text)
    await here.order("take charge")
    await here.cool()
    await here.order("start", text=told["sha256"])
    return await here.until(lambda: next((o for o in here.outcomes if o["run"] == told["run"]), None))


async def test_two_programs_one_after_the_other_have_a_record_each_that_verifies_and_replays(tmp_path):
    async with bench(tmp_path) as here:
        first = await run_to_the_end(here)
        assert here.session.current is None
        second = await run_to_the_end(here, SHORT.replace("40 kW", "60 kW"))
    assert [o["outcome"] for o in (first, second)] == ["completed", "completed"]
    assert [o["planned_peak_kw"] for o in (first, second)] == [40.0, 60.0]
    assert first["run"] != second["run"]
    assert len(here.runs()) == 2
    for path in here.runs():
        assert verify(path).intact
        with Reader(path) as reader:
            assert replay(reader).equal
            assert reader.end is not None
            assert reader.end.outcome == "completed"
            assert [f.kind for f in reader.files] == ["site", "program"]


async def test_every_frame_is_recorded_with_the_settings_that_it_was_decided_by(tmp_path):
    async with bench(tmp_path) as here:
        await here.order("take charge")
        await here.program()
        await here.until(lambda: here.frames[-1][1].program is not None)
        await here.order("remark", text="the last")
    by_hand, chosen = here.runs()
    numbers = {}
    for path in (by_hand, chosen):
        with Reader(path) as reader:
            numbers[path] = [scan.n for scan in reader.scans()]
            wanted = None if path == by_hand else "short"
            assert (reader.settings.program.name if reader.settings.program else None) == wanted
    with_program = [frame.number for frame, settings in here.frames if settings.program is not None]
    assert numbers[chosen] == with_program
    assert numbers[by_hand][-1] + 1 == numbers[chosen][0]


@pytest.mark.parametrize(
    ("verb", "keys"),
    [
        ("take charge", {}),
        ("join", {"unit": "bank 1"}),
        ("switch", {"unit": "bank 1", "text": "1", "value": 1.0}),
        ("override", {"text": "cool-down", "unit": "bank 1"}),
    ],
)
async def test_a_record_begins_before_the_first_order_that_may_switch_anything(tmp_path, verb, keys):
    async with bench(tmp_path) as here:
        await here.until(lambda: here.frames)
        assert here.runs() == []
        with suppress(Rejected):  # the record has the refusal
            await here.order(verb, **keys)
    with Reader(here.runs()[0]) as reader:
        scans = [scan.n for scan in reader.scans()]
        (event,) = [e for e in reader.events() if e.kind in ("command", "refused")]
    assert event.scan > scans[0]


async def test_orders_that_switch_nothing_need_no_record(tmp_path):
    async with bench(tmp_path) as here:
        await here.order("remark", text="rain")
        await here.order("check in")
        with pytest.raises(Rejected):
            await here.order("pause")
    assert here.runs() == []


async def test_two_people_at_once_begin_one_record(tmp_path):
    async with bench(tmp_path) as here:
        await asyncio.gather(here.order("take charge", KIM), here.order("take charge", LEE))
    assert len(here.runs()) == 1
    with Reader(here.runs()[0]) as reader:
        assert {e.who for e in reader.events() if e.kind == "command"} == {"Kim", "Lee"}


async def test_the_file_is_made_in_another_thread_and_no_scan_waits_for_it(tmp_path, monkeypatch):
    async with bench(tmp_path) as here:
        await here.until(lambda: here.frames)
        make, free, who = Session.make, threading.Event(), []

        def slow(*args):
            who.append(threading.current_thread())
            assert free.wait(10.0)
            return make(*args)

        monkeypatch.setattr(Session, "make", slow)
        taking = asyncio.create_task(here.order("take charge"))
        seen = len(here.frames)
        await here.until(lambda: len(here.frames) > seen + 20)
        assert not taking.done()
        assert not here.state.charge
        free.set()
        await taking
    assert who[0] not in (threading.main_thread(), here.owner._thread)


async def test_a_drop_and_an_unload_never_wait_for_a_record(tmp_path, monkeypatch):
    async with bench(tmp_path) as here:
        await here.until(lambda: here.frames)
        free = threading.Event()
        make = Session.make

        def slow(*args):
            assert free.wait(10.0)
            return make(*args)

        monkeypatch.setattr(Session, "make", slow)
        await here.order("drop")
        assert here.state.dropped
        await here.order("unload", LEE)
        assert here.session.current is None
        free.set()
        await here.until(lambda: here.session.current is not None)


async def test_load_found_on_gets_a_record_by_itself(tmp_path):
    async with bench(tmp_path, load=1) as here:
        await here.until(lambda: here.session.current is not None)
        await here.until(lambda: here.state.prompt is not None)
    with Reader(here.runs()[0]) as reader:
        assert reader.meta["begun_by"] == "load found on"


async def test_where_no_record_can_be_made_the_order_is_refused_in_words_and_nothing_is_switched(tmp_path):
    (tmp_path / "runs").write_text("a file where the folder should be")
    async with bench(tmp_path) as here:
        await here.until(lambda: here.frames)
        with pytest.raises(Rejected, match=r"^no record can be started: .*runs: File exists$"):
            await here.order("take charge")
        with pytest.raises(Rejected, match="no record can be started"):
            await here.program(anyway=True)
        assert not here.state.charge
        assert not any(u.raised or any(u.fan_orders) for u in here.units.plant.units)
        await here.order("drop")
        assert here.state.dropped
        await here.until(lambda: here.log)
    assert [line.startswith("not recorded: no record can be started") for line in here.log] == [True]


async def test_without_a_record_load_found_on_is_not_told_again_in_each_scan(tmp_path):
    (tmp_path / "runs").write_text("a file where the folder should be")
    async with bench(tmp_path, load=1) as here:
        await here.until(lambda: here.log)
        seen = len(here.frames)
        await here.until(lambda: len(here.frames) > seen + 20)
        assert len(here.log) == 1


async def test_where_there_is_no_room_for_the_reserve_the_order_is_refused_in_words(tmp_path):
    async with bench(tmp_path, reserve_bytes=1 << 60) as here:
        told = await here.program()
        assert not told["feasible"]
        assert "are free in" in told["refusals"][-1]
        assert "say that you want it anyway" in told["refusals"][-1]
        assert "run" not in told
        assert here.runs() == []


async def test_after_a_minute_in_which_nothing_goes_on_a_run_by_hand_is_over(tmp_path):
    async with bench(tmp_path) as here:
        await here.order("take charge")
        await here.cool()
        (outcome,) = await here.until(lambda: here.outcomes)
        assert outcome["outcome"] == "by hand"
        assert outcome["sealed"]
        assert 60.0 <= outcome["virtual_s"] < 90.0
        assert here.session.health() is Health.ABSENT
        await here.order("set load", value=20.0)
        assert here.session.health() is Health.OK
        await here.until(here.loaded)
    assert len(here.runs()) == 2
    with Reader(here.runs()[1]) as reader:
        assert any(e.text == "set load 20" for e in reader.events())


async def test_a_chosen_program_waits_longer_for_whoever_reads_its_cautions(tmp_path):
    async with bench(tmp_path) as here:
        await here.program()
        begun_s = here.frames[-1][0].inputs.now_s
        await here.until(lambda: here.frames[-1][0].inputs.now_s > begun_s + 90.0)
        assert here.outcomes == []
        await here.order("take charge")
        await here.cool()
        await here.order("start")
        assert here.state.mode is Mode.CHECK


async def test_load_by_hand_after_a_program_is_on_the_record_too(tmp_path):
    async with bench(tmp_path) as here:
        await run_to_the_end(here)
        assert here.state.mode is Mode.DONE
        await here.order("set load", value=20.0)
        assert here.session.current is not None
        await here.until(here.loaded)
    with Reader(here.runs()[1]) as reader:
        assert any(e.text == "set load 20" for e in reader.events())


async def test_a_run_that_is_replaced_before_it_began_says_so(tmp_path):
    async with bench(tmp_path) as here:
        first = await here.program()
        second = await here.program(LONG, LEE)
        (outcome,) = await here.until(lambda: here.outcomes)
        assert (outcome["run"], outcome["outcome"]) == (first["run"], "not started")
        assert second["run"] != first["run"]


async def test_a_chain_that_stays_away_ends_the_run_as_lost_and_what_follows_has_a_record_of_its_own(tmp_path):
    async with bench(tmp_path) as here:
        told = await here.program(LONG)
        await here.order("take charge")
        await here.cool()
        await here.order("start")
        await here.until(here.loaded)
        for unit in here.units.plant.units:
            unit.silent = Outcome.SILENT
        (outcome,) = await here.until(lambda: here.outcomes)
        assert (outcome["run"], outcome["outcome"]) == (told["run"], "chain lost")
        await here.until(lambda: here.session.current is not None)
        seen = len(here.frames)
        await here.until(lambda: len(here.frames) > seen + 200)
        assert len(here.outcomes) == 1
    assert len(here.runs()) == 2


async def test_no_program_is_chosen_while_the_one_before_cools_whose_record_must_show_that(tmp_path):
    async with bench(tmp_path) as here:
        told = await here.program(LONG)
        await here.order("take charge")
        await here.cool()
        await here.order("start", text=told["sha256"])
        await here.until(here.loaded)
        await here.order("unload")
        await here.until(lambda: here.state.mode is Mode.COOL)
        with pytest.raises(Rejected, match=r"^the run before is still cooling down: its record must show that$"):
            await here.program(SHORT)
        await here.until(lambda: here.outcomes)
        assert (here.outcomes[0]["run"], here.outcomes[0]["outcome"]) == (told["run"], "interrupted")
        second = await here.program(SHORT)
        await here.order("start", text=second["sha256"])
        await here.until(lambda: len(here.outcomes) == 2)
    assert (here.outcomes[1]["run"], here.outcomes[1]["outcome"]) == (second["run"], "completed")


async def test_what_was_before_is_no_outcome_of_a_run_in_which_nothing_was_done(tmp_path):
    async with bench(tmp_path) as here:
        await run_to_the_end(here)
        await here.order("unload")
        await here.until(lambda: here.session.current is not None)
        chosen = await here.program(LONG)
        await here.program(SHORT)
        await here.until(lambda: len(here.outcomes) == 3)
    assert [o["outcome"] for o in here.outcomes[:3]] == ["completed", "by hand", "not started"]
    assert here.outcomes[2]["run"] == chosen["run"]


async def test_the_records_of_a_rehearsal_are_closed_from_another_thread_than_they_are_written_in(tmp_path):
    async with bench(tmp_path, rehearsal=True, speed=40.0) as here:
        outcome = await run_to_the_end(here)
    assert outcome["sealed"]
    assert verify(here.runs()[0]).intact


async def test_where_frames_reach_no_record_any_more_the_bench_knows_and_clients_still_see_it(tmp_path, monkeypatch):
    async with bench(tmp_path) as here:
        await here.order("take charge")

        def broken(*_):
            raise MemoryError("no more")

        monkeypatch.setattr(type(here.session.current), "write", broken)
        await here.until(lambda: here.session.health() is Health.FAILED)
        await here.until(lambda: [h for h in here.events if "a listener failed: MemoryError" in h.event.text])
        await here.until(lambda: here.frames[-1][0].decision.seen.recorder_failed)
        await here.order("unload")
