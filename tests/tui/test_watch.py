"""The screen of many benches without a terminal: it draws what is gathered, keys move about, nothing is ordered."""

import asyncio
from contextlib import asynccontextmanager

import pytest
from textual.pilot import Pilot

from benchctl.tui.theme import NAMES
from benchctl.tui.view.text import plain
from benchctl.tui.view.watching import draw
from benchctl.tui.watch import KEYS, Watch
from tests.tui.test_watching import MANY


class Desk:
    """A screen, and what is gathered for it."""

    pilot: Pilot[int]

    def __init__(self):
        self.benches, self.cut, self.ended = MANY, "", False
        self.changed = None
        self.app = Watch("mqtt://broker.invalid:1883", self.listen, self.refresh)

    async def listen(self, changed):
        self.changed = changed
        try:
            await asyncio.Event().wait()
        finally:
            self.ended = True

    def refresh(self, watched):
        watched.benches, watched.cut = tuple(self.benches), self.cut

    @property
    def text(self):
        return "\n".join(plain(line) for line in draw(self.app.watched, *self.app.size))


@asynccontextmanager
async def desk(size=(100, 24)):
    made = Desk()
    async with made.app.run_test(size=size) as pilot:
        made.pilot = pilot
        await pilot.pause()
        yield made
    assert made.ended


async def test_the_cursor_stays_with_its_bench_when_the_order_changes():
    async with desk() as here:
        await here.pilot.press("down", "down", "down")
        assert here.app.watched.cursor == "real/fenwick"
        here.benches = [b for b in MANY if b.name != "brook-mill"]
        here.changed("real/brook-mill")
        await here.pilot.pause(0.2)
        assert here.app.watched.cursor == "real/fenwick"
        await here.pilot.press("n", "home")
        assert here.app.watched.cursor == "real/alder-ridge"
        await here.pilot.press("end")
        assert here.app.watched.cursor == "real/northquay"


async def test_a_bench_is_opened_scrolled_and_closed_and_is_left_when_it_goes():
    async with desk((80, 12)) as here:
        await here.pilot.press("end", "enter", "pagedown", "pagedown", "pagedown")
        assert here.app.watched.opened
        assert "above" in here.text
        await here.pilot.press("escape")
        assert not here.app.watched.opened
        await here.pilot.press("enter")
        here.benches = [b for b in MANY if b.key != here.app.watched.cursor]
        here.app.redraw()
        assert not here.app.watched.opened
        here.benches = []
        here.app.redraw()
        assert "nothing has come yet" in here.text
        await here.pilot.press("enter", "down", "pageup")


async def test_every_look_can_be_worn_and_every_size_drawn():
    async with desk() as here:
        for _ in NAMES:
            await here.pilot.press("t")
        for size in ((1, 1), (200, 60), (39, 7), (80, 24)):
            await here.pilot.resize_terminal(*size)
            await here.pilot.pause()
            assert len(here.text.splitlines()) == here.app.size.height


@pytest.mark.parametrize("key", ["q", "ctrl+c"])
async def test_it_is_left_with_exit_code_0(key):
    async with desk() as here:
        await here.pilot.press(key)
        await here.pilot.pause()
    assert not here.app.return_value


async def test_what_breaks_the_listening_ends_the_screen_and_is_kept_for_whoever_started_it():
    made = Desk()

    async def broken(changed):
        made.ended = True
        raise ValueError("something")

    made.app = Watch("nowhere", broken, made.refresh)
    with pytest.raises(ValueError, match="something"):
        async with made.app.run_test() as pilot:
            await pilot.pause(0.2)
    assert isinstance(made.app.fault, ValueError)


def test_no_key_orders_anything():
    """The drop keys of the console are no keys here: this screen has no way to a bench."""
    assert not {"ctrl+o", "f9"} & KEYS.keys()
