"""The computer is kept awake from the start of a program until load is off and cool, and the record says how far."""

import json
import time
from pathlib import Path

from benchctl.controller.awake import Awake
from benchctl.record.reader import Reader
from benchctl.wakeful import Stand, Wakeful
from tests.controller.bench import bench


class Played(Wakeful):
    """Is told what is wanted, and tells at once what comes of it."""

    def __init__(self, tell, held):
        super().__init__(tell, ())
        self.asked, self.held = [], held

    def want(self, on):
        if not self.asked or self.asked[-1] is not on:
            self.asked.append(on)
            self._tell(Stand(on and self.held, "kept awake" if on and self.held else "may fall asleep"))


async def through(tmp_path, held):
    """A run from start to end, with each scan shown to it; what it wanted, and the events of the record."""
    async with bench(tmp_path) as here:
        awake, seen = Awake(False, here.owner.between_scans), 0
        awake._wakeful = played = Played(awake._tell, held)

        def looked(told):
            nonlocal seen
            for frame, _ in here.frames[seen:]:
                awake.show(frame)
                seen += 1
            return next((o for o in here.outcomes if o["run"] == told["run"]), None)

        told = await here.program()
        await here.order("take charge")
        await here.cool()
        await here.order("start", text=told["sha256"])
        outcome = await here.until(lambda: looked(told))
    with Reader(Path(outcome["run"])) as reader:
        return played.asked, list(reader.events())


async def test_it_is_wanted_before_load_is_on_until_all_is_cool_and_that_stands_in_the_record(tmp_path):
    asked, events = await through(tmp_path, held=True)
    assert True in asked
    kept = next(e for e in events if e.text == "kept awake")
    assert kept.scan <= min(e.scan for e in events if e.kind == "segment")
    assert (kept.kind, json.loads(kept.data)) == ("sleep", [["held", True]])


async def test_F1_that_sleep_could_not_be_kept_off_stands_in_the_record_too(tmp_path):
    _, events = await through(tmp_path, held=False)
    assert any(e.kind == "sleep" and e.text == "may fall asleep" for e in events)


async def test_a_rehearsal_may_fall_asleep_and_an_engine_that_has_ended_is_no_fault(tmp_path):
    awake = Awake(True, lambda _: None)
    awake.start()
    await awake.end()
    async with bench(tmp_path) as here:
        await here.until(lambda: here.frames)
        owner = here.owner
    awake = Awake(False, owner.between_scans, Wakeful(lambda _: None, ()))
    awake._tell(Stand(True, "too late"))
    awake.start()
    begun_s = time.monotonic()
    await awake.end()
    assert time.monotonic() - begun_s < 5.0
