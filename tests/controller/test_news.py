"""The way of frames to the clients' loop: the newest snapshot, every event, every answer."""

import asyncio
import threading

import pytest

from benchctl.controller.news import News
from benchctl.core.command import Command, Verb
from benchctl.core.decision import Frame
from tests.controller.bench import PLACE
from tests.controller.test_ending import Kept
from tests.door.rooms import until


def frames(count: int) -> list[Frame]:
    """Frames with a remark and its event each."""
    bench = Kept(PLACE)
    made = []
    for number in range(count):
        bench.scan(Command(Verb.REMARK, "Kim", text=str(number)))
        made.append(Frame(number, 0.0, bench.inputs, bench.last, ()))
    return made


class Desk:
    def __init__(self) -> None:
        self.shown: list[int] = []
        self.told: list[tuple[int, str]] = []
        self.answered: list[tuple[int, list[str]]] = []
        self.settings = Kept(PLACE).settings
        self.news = News(
            asyncio.get_running_loop(),
            lambda frame, settings: self.shown.append(frame.number),
            lambda h: self.told.append((h.frame.number, h.event.text)),
            lambda scan, refusals: self.answered.append((scan, refusals)),
        )


async def test_from_a_thread_every_event_and_answer_comes_in_order_and_the_newest_snapshot_last():
    desk, made = Desk(), frames(300)

    def put() -> None:
        for frame in made:
            desk.news.put(frame, desk.settings)

    thread = threading.Thread(target=put)
    thread.start()
    await until(lambda: desk.shown and desk.shown[-1] == 299)
    thread.join()
    assert [text for _, text in desk.told if text.startswith("remark")] == [f"remark {n}" for n in range(300)]
    assert desk.answered == [(n, [""]) for n in range(300)]
    assert desk.shown == sorted(set(desk.shown))


async def test_snapshots_that_nobody_has_fetched_are_replaced_by_the_next():
    desk = Desk()
    for frame in frames(50):
        desk.news.put(frame, desk.settings)
    assert desk.shown == []
    await asyncio.sleep(0)
    assert desk.shown == [49]
    assert len(desk.answered) == 50


async def test_an_event_that_cannot_be_told_costs_no_other_event_and_no_snapshot():
    desk = Desk()
    said: list[str] = []

    def tell(happened) -> None:
        if happened.event.text == "remark 0":
            raise ValueError("cannot be told")
        said.append(happened.event.text)

    desk.news._tell = tell
    faults: list[dict[str, object]] = []
    asyncio.get_running_loop().set_exception_handler(lambda _, what: faults.append(what))
    made = frames(2)
    for frame in made:
        desk.news.put(frame, desk.settings)
        await asyncio.sleep(0)
    assert len(faults) == 1
    assert "remark 1" in said
    assert desk.shown[-1] == 1
    assert [scan for scan, _ in desk.answered] == [0, 1]


async def test_after_the_clients_loop_has_ended_the_engine_leaves_it_out():
    other = asyncio.new_event_loop()
    other.close()
    lonely = News(other, *[lambda *_: None] * 3)
    with pytest.raises(RuntimeError, match="closed"):
        lonely.put(frames(1)[0], Desk().settings)
