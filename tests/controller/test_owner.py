"""The engine's thread as other threads see it: its start, its end, and what is told when either goes wrong."""

import asyncio
import threading
import time
from collections.abc import Callable

import pytest

from benchctl import engine as room
from benchctl.controller import owner as own_room
from benchctl.controller.owner import Owner
from benchctl.core.command import Command, Verb
from benchctl.core.decide import decide
from benchctl.core.decision import Frame, Settings
from benchctl.core.orders import Orders
from benchctl.engine import Engine
from tests.controller.bench import PLACE, Units

SETTINGS = Settings.of(PLACE, None, 0.05)


def engine(settings, chain):
    return Engine(settings, chain, time.time)


def owner(units=None, make_engine=engine, make_chain=None) -> Owner:
    units = units or Units()
    return Owner(SETTINGS, asyncio.new_event_loop, make_chain or (lambda loop: units), make_engine)


def fails(*_):
    raise ValueError("no such unit: bank 9")


def wait_for(test: Callable[[], object]) -> None:
    end_s = time.monotonic() + 10.0
    while not test():
        assert time.monotonic() < end_s, "it does not come"
        time.sleep(0.005)


@pytest.mark.parametrize("what", ["make_chain", "make_engine"])
def test_an_engine_that_cannot_be_made_is_told_with_its_cause(what):
    units = Units()
    owned = owner(units, **{what: fails})
    with pytest.raises(RuntimeError, match=r"^ValueError: no such unit: bank 9$") as raised:
        owned.start()
    assert isinstance(raised.value.__cause__, ValueError)
    wait_for(lambda: not owned.alive)
    assert units.closed is (what == "make_engine")
    with pytest.raises(RuntimeError, match="no such unit"):
        owned.submit(Command(Verb.DROP))
    owned.stop()


def test_a_loop_that_cannot_be_made_is_told():
    owned = Owner(SETTINGS, fails, lambda loop: Units(), engine)
    with pytest.raises(RuntimeError, match="no such unit"):
        owned.start()


def test_an_engine_that_does_not_come_up_in_time_is_told(monkeypatch):
    monkeypatch.setattr(own_room, "START_S", 0.05)
    free = threading.Event()
    owned = owner(make_chain=lambda loop: (free.wait(10.0), Units())[1])
    with pytest.raises(RuntimeError, match=r"^the engine does not start$"):
        owned.start()
    with pytest.raises(RuntimeError, match=r"^the engine has ended$"):
        owned.submit(Command(Verb.DROP))
    free.set()
    wait_for(lambda: owned._at_work is not None)
    owned.stop()


def test_it_scans_until_it_is_told_to_stop_and_closes_its_chain():
    units = Units()
    owned = owner(units)
    owned.start()
    assert owned.alive
    owned.stop()
    assert not owned.alive
    assert owned.fault == ""
    assert units.closed
    owned.stop()  # twice is once


def test_after_the_end_a_command_is_refused_in_words():
    owned = owner()
    owned.start()
    owned.stop()
    with pytest.raises(RuntimeError, match=r"^the engine has ended$"):
        owned.submit(Command(Verb.DROP))
    with pytest.raises(RuntimeError, match=r"^the engine has ended$"):
        owned.between_scans(lambda engine: None)


def test_a_decide_that_raises_opens_everything_then_ends_and_says_why(monkeypatch):
    class Noting(Units):
        def __init__(self) -> None:
            super().__init__()
            self.orders: list[Orders] = []

        async def write(self, orders, until_s, cut=None):
            self.orders.append(orders)
            return await super().write(orders, until_s, cut)

    units = Noting()
    units.plant.units[0].load = 3
    owned = owner(units)
    broken = threading.Event()
    monkeypatch.setattr(room, "decide", lambda *args: fails() if broken.is_set() else decide(*args))
    owned.start()
    wait_for(lambda: units.orders)
    broken.set()
    wait_for(lambda: not owned.alive)
    assert owned.fault == "ValueError: no such unit: bank 9"
    assert owned.cause is None  # it is in the last frame
    assert all(o.keep == 0 and o.lower for o in units.orders[-1].units)
    assert all(o.raise_to is None for o in units.orders[-1].units)
    assert units.plant.units[0].load == 0
    assert units.closed
    with pytest.raises(RuntimeError, match="no such unit"):
        owned.submit(Command(Verb.DROP))
    owned.stop()


def test_a_drop_of_another_thread_is_known_before_the_scan_that_is_deciding_sends_anything(monkeypatch):
    sent: list[bool] = []
    deciding, given = threading.Event(), threading.Event()

    class Noting(Units):
        async def write(self, orders, until_s, cut=None):
            if given.is_set():
                sent.append(orders.urgent or cut.is_set())
            return await super().write(orders, until_s, cut)

    def slow(*args):
        deciding.set()
        given.wait(10.0)
        return decide(*args)

    owned = owner(Noting())
    owned.start()
    monkeypatch.setattr(room, "decide", slow)
    assert deciding.wait(10.0)
    owned.submit(Command(Verb.DROP))
    given.set()
    wait_for(lambda: len(sent) > 1)
    owned.stop()
    assert all(sent[:2])


def test_what_is_given_before_the_end_is_obeyed_from_any_thread():
    frames: list[Frame] = []
    owned = owner(make_engine=lambda settings, chain: Engine(settings, chain, time.time, (frames.append,)))
    owned.start()
    threads = [threading.Thread(target=owned.submit, args=(Command(Verb.REMARK, f"person {i}"),)) for i in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    wait_for(lambda: sum(len(f.inputs.commands) for f in frames) == len(threads))
    owned.stop()
    assert {c.who for f in frames for c in f.inputs.commands} == {f"person {i}" for i in range(8)}
