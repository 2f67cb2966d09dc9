"""Writes on several lines at once, and their end, over memory in virtual time."""

import asyncio
from functools import partial

import pytest

from benchctl.core.site import Endpoint
from benchctl.field.answer import Got
from benchctl.field.asking import Together
from benchctl.field.encode import Request
from benchctl.field.link import Link
from benchctl.field.modbus import write_question
from simulator.warp import run
from tests.field.scenes import PLACES, after, now
from tests.field.scripted import Memory, good

FOREVER = float("inf")


def two(ended, timeout_s, asking):
    """Two writes, each with its answer."""
    asking.timeout_s = timeout_s
    for address in (0, 1):
        ended.append((yield write_question(1, Request(6, address, (1,)))).got)


async def links(memory: Memory, places: list[Endpoint]) -> list[Link]:
    made = [Link(p, connect=memory.connect) for p in places]
    for link in made:
        assert await link.ready(now() + 1.0)
    return made


def test_all_lines_send_in_the_call_that_starts_them_and_the_last_answer_is_the_end():
    async def scene():
        delays = dict(zip(PLACES[:3], (0.01, 0.03, 0.02), strict=True))
        memory = Memory({p: after(s, good()) for p, s in delays.items()})
        ended: list[Got] = []
        together, began = Together(), now()
        for link in await links(memory, list(delays)):
            together.start(link, partial(two, ended, 1.0), FOREVER)
        await asyncio.sleep(0)
        assert [len(a) for a in memory.asked.values()] == [1, 1, 1]
        await together.over()
        assert now() - began == pytest.approx(0.06)
        assert ended == [Got.OK] * 6

    run(scene())


def test_without_lines_it_is_over():
    async def scene():
        await Together().over()

    run(scene())


def test_what_one_line_raises_is_raised_when_the_others_are_at_their_end():
    async def scene():
        memory = Memory({p: after(0.02, good()) for p in PLACES[:2]})
        first, second = await links(memory, PLACES[:2])
        ended: list[Got] = []

        def broken(_asking):
            yield write_question(1, Request(6, 0, (1,)))
            raise RuntimeError("it broke")

        together, began = Together(), now()
        together.start(first, broken, FOREVER)
        together.start(second, partial(two, ended, 1.0), FOREVER)
        with pytest.raises(RuntimeError, match="it broke"):
            await together.over()
        assert (now() - began, ended) == (pytest.approx(0.04), [Got.OK] * 2)

    run(scene())


@pytest.mark.parametrize("way", ["time", "cancelled"])
def test_at_its_time_or_cancelled_nothing_is_sent_any_more_and_the_lines_are_free(way):
    async def scene():
        memory = Memory({p: after(0.1, good()) for p in PLACES[:2]})
        both = await links(memory, PLACES[:2])
        ended: list[Got] = []
        together, began = Together(), now()
        for link in both:
            together.start(link, partial(two, ended, 1.0), FOREVER)
        over = asyncio.create_task(together.over(began + 0.05 if way == "time" else None))
        if way == "cancelled":
            asyncio.get_running_loop().call_at(began + 0.05, over.cancel)
        await asyncio.wait({over})
        assert now() - began == pytest.approx(0.05)
        assert over.cancelled() is (way == "cancelled")
        assert not any(link.turn.busy for link in both)
        await asyncio.sleep(1.0)
        assert ended == []
        assert [len(a) for a in memory.asked.values()] == [1, 1]

    run(scene())
