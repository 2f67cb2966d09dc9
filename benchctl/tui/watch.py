"""The screen of many benches: it looks, and orders nothing. What it shows is gathered by others while it is open."""

import asyncio
import time
from collections.abc import Awaitable, Callable
from typing import ClassVar

from textual import events
from textual.app import ComposeResult
from textual.binding import Binding, BindingType

from benchctl.tui.face import Face
from benchctl.tui.screened import Screened
from benchctl.tui.terminal import Ends
from benchctl.tui.theme import MARKS, NAMES, THEMES
from benchctl.tui.view.benches import in_order
from benchctl.tui.view.watched import Watched
from benchctl.tui.view.watching import draw, furthest, room

REDRAW_S = 0.2  # at most so often; a snapshot comes once a second
TICK_S = 0.5

Listen = Callable[[Callable[[str | None], None]], Awaitable[None]]  # given what to call when something has come
Refresh = Callable[[Watched], None]


class Watch(Screened):
    """listen: gathers until it is cancelled; refresh: puts what is gathered into the picture; look: of theme.NAMES."""

    TITLE = "benchctl"
    ENABLE_COMMAND_PALETTE = False
    BINDINGS: ClassVar[list[BindingType]] = [Binding("ctrl+c", "quit", show=False, priority=True)]

    def __init__(
        self, where: str, listen: Listen, refresh: Refresh, *, look: str = NAMES[0], glyphs: str = "full"
    ) -> None:
        super().__init__()
        self.watched = Watched(where, glyphs=glyphs)
        self.face = Face()
        self.ends = Ends(self)
        self._look, self._listen, self._refresh = look, listen, refresh
        self._listening: asyncio.Task[None] | None = None
        self._dirty = False

    def compose(self) -> ComposeResult:
        """One widget."""
        yield self.face

    def on_mount(self) -> None:
        """Begin to look."""
        for theme in THEMES:
            self.register_theme(theme)
        self._wear(self._look)
        self.face.focus()
        if not self.is_headless:
            self.ends.watch()
        self._listening = asyncio.get_running_loop().create_task(self._gather())
        self.set_interval(TICK_S, self.redraw)
        self.redraw()

    async def on_unmount(self) -> None:
        """Nothing is listened to any more."""
        if self._listening is not None:
            self._listening.cancel()
            await asyncio.gather(self._listening, return_exceptions=True)
        self.ends.release()

    async def _gather(self) -> None:
        try:
            await self._listen(self._changed)
        except Exception as fault:
            self._handle_exception(fault)

    def _changed(self, _key: str | None) -> None:
        """Something has come; it is drawn soon."""
        if not self._dirty:
            self._dirty = True
            self.set_timer(REDRAW_S, self.redraw)

    def redraw(self) -> None:
        """Draw what is known now."""
        self._dirty = False
        watched = self.watched
        self._refresh(watched)
        watched.clock = time.strftime("%H:%M:%S")
        keys = [b.key for b in in_order(watched.benches, by_name=watched.by_name)]
        if watched.cursor not in keys:
            watched.cursor, watched.opened = (keys[0] if keys else ""), False
        watched.scroll = min(watched.scroll, furthest(watched, *self.size)) if watched.opened else 0
        self.face.show(draw(watched, *self.size))

    def on_resize(self) -> None:
        """Another size."""
        self.redraw()

    def _wear(self, look: str) -> None:
        self._look = look
        self.theme = look
        self.face.wear(MARKS[look])

    # -- keys

    def on_key(self, event: events.Key) -> None:
        """A key of the table."""
        act = KEYS.get(event.key)
        if act is not None:
            event.stop()
            event.prevent_default()
            act(self)
            self.redraw()

    def move(self, by: int) -> None:
        """The cursor among the benches, or the part of one that is shown."""
        watched = self.watched
        if watched.opened:
            watched.scroll = max(0, watched.scroll + by)
            return
        keys = [b.key for b in in_order(watched.benches, by_name=watched.by_name)]
        if keys:
            at = keys.index(watched.cursor) if watched.cursor in keys else 0
            watched.cursor = keys[max(0, min(len(keys) - 1, at + by))]

    def page(self, by: int) -> None:
        """As far as the window is high."""
        self.move(by * max(1, room(self.size.height) - 2))

    def open(self, opened: bool) -> None:
        """One bench alone, or all of them."""
        self.watched.opened, self.watched.scroll = opened and bool(self.watched.cursor), 0

    def turn(self) -> None:
        """By name, or the worst first."""
        if not self.watched.opened:
            self.watched.by_name = not self.watched.by_name

    def dress(self) -> None:
        """The next colours."""
        self._wear(NAMES[(NAMES.index(self._look) + 1) % len(NAMES)])


ALL = 1 << 20
KEYS: dict[str, Callable[[Watch], object]] = {
    "up": lambda w: w.move(-1),
    "down": lambda w: w.move(1),
    "pageup": lambda w: w.page(-1),
    "pagedown": lambda w: w.page(1),
    "home": lambda w: w.move(-ALL),
    "end": lambda w: w.move(ALL),
    "enter": lambda w: w.open(True),
    "escape": lambda w: w.open(False),
    "n": lambda w: w.turn(),
    "t": lambda w: w.dress(),
    "q": lambda w: w.exit(0),
}
