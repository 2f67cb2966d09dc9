"""The console: one page at a time, drawn by `view`, and forms above it. Keys pass the gate, the drop passes all.

The screen owns nothing but a cursor. What goes wrong here (a terminal that is gone, a fault of the screen itself)
leaves the load to the run host and its attendance policy; see `tui/terminal.py` for how each end comes about.
"""

import time
from collections.abc import Callable, Iterable
from typing import Any, ClassVar

from textual import events
from textual._time import get_time  # the clock by which keys are stamped where they are read
from textual.app import ComposeResult, SystemCommand
from textual.binding import Binding, BindingType
from textual.screen import ModalScreen, Screen

from benchctl.tui import actions
from benchctl.tui.extras import Extras
from benchctl.tui.face import Face
from benchctl.tui.fetch import Fetch
from benchctl.tui.form import Form
from benchctl.tui.gate import LOOK_S, WINDOW_S, Gate, Typed
from benchctl.tui.judging import Judging
from benchctl.tui.keys import DROP_KEYS, Kind, barred, meant
from benchctl.tui.link import Attach, Choice, Link
from benchctl.tui.screened import Screened
from benchctl.tui.terminal import Ends
from benchctl.tui.theme import MARKS, NAMES, THEMES
from benchctl.tui.view.picture import Page, Picture
from benchctl.tui.view.whole import draw

REDRAW_S = 0.05  # at most so often; a scan is ten times longer
TICK_S = 0.5
HINT_S = 8.0
LATE_S = 0.01  # the loop was busy: keys may wait that are older than a key of ours


class Console(Screened):
    """attach: how a run host is reached; choice: which one; who: gives the orders; look: a name of theme.NAMES."""

    TITLE = "benchctl"
    ENABLE_COMMAND_PALETTE = True
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding(key, "drop", "all load off", priority=True, show=False) for key in DROP_KEYS
    ]
    CSS_PATH = "forms.tcss"

    def __init__(
        self,
        attach: Attach,
        choice: Choice,
        who: str,
        *,
        look: str = NAMES[0],
        glyphs: str = "full",
        extras: Extras | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        super().__init__()
        self.picture = Picture(who=who, glyphs=glyphs)
        self.face = Face()
        self.link = Link(self.picture, attach, choice, self.changed, self.bell, self._handle_exception, self.run_ended)
        self.extras = extras or Extras()
        self.judging = Judging(self.picture, self.extras, self.changed, self._judged)
        self.fetch = Fetch(self.link, self.extras, self.changed, lambda run: self.judging.ask(run, again=False))
        self.ends = Ends(self)
        self.when_drawn: Callable[[], None] = lambda: None  # called when the first picture is there
        self._look, self._clock, self._gate = look, clock, Gate()
        self._dirty = self._patient = False
        self._hint_since: tuple[str, float] = ("", 0.0)

    def compose(self) -> ComposeResult:
        """One widget."""
        yield self.face

    def on_mount(self) -> None:
        """Begin to look."""
        for theme in THEMES:
            self.register_theme(theme)
        self.wear(self._look)
        self.face.focus()
        if not self.is_headless:
            self.ends.watch()
        self.set_interval(TICK_S, self._tick)
        self.redraw()
        self.call_after_refresh(self._drawn)

    def _drawn(self) -> None:
        """The first picture is there: now look for a run host."""
        self.when_drawn()
        self.link.open()

    async def on_unmount(self) -> None:
        """The screen goes, the run host stays."""
        await self.fetch.close()
        await self.judging.close()
        await self.link.close()
        self.ends.release()

    # -- drawing

    def changed(self) -> None:
        """The picture has changed; it is drawn soon."""
        if not self._dirty:
            self._dirty = True
            self.set_timer(REDRAW_S, self.redraw)

    def redraw(self) -> None:
        """Draw the picture now."""
        self._dirty = False
        size = self.size
        self.face.show(draw(self.picture, size.width, size.height))

    def on_resize(self) -> None:
        """Another size."""
        self.redraw()

    def _tick(self) -> None:
        """What changes by itself: the clock, ages, words that have been read."""
        picture = self.picture
        self.link.tick()
        self.fetch.tick()
        picture.clock = _clock_of(picture)
        now_s = self._clock()
        if picture.hint != self._hint_since[0]:
            self._hint_since = (picture.hint, now_s)
        elif picture.hint and now_s - self._hint_since[1] > HINT_S:
            picture.hint, picture.hint_bad = "", False
        self.changed()

    def wear(self, look: str) -> None:
        """Other colours."""
        self._look = look
        self.theme = look
        self.face.wear(MARKS[look])

    @property
    def look(self) -> str:
        """Which colours."""
        return self._look

    # -- keys

    async def on_event(self, event: events.Event) -> None:
        """Keys and pastes from the terminal pass the gate first."""
        if isinstance(event, events.Key) and not event.is_forwarded and event.key not in DROP_KEYS:
            for key in self._gate.put(self._typed(event), in_field=self._in_form):
                await super().on_event(key.event)
            self._look_after_gate()
        elif isinstance(event, events.Paste) and not event.is_forwarded and not self._in_form:
            self.link.say("pasted text ignored")
        else:
            await super().on_event(event)

    @property
    def _in_form(self) -> bool:
        return isinstance(self.screen, ModalScreen)

    def _typed(self, event: events.Key) -> Typed:
        text = event.is_printable or event.key in ("enter", "ctrl+j", "ctrl+m", "tab", "space")
        key = meant(event.key, self.picture)
        patience_s = LOOK_S if not self._in_form and (key is None or key.kind is Kind.LOOK) else WINDOW_S
        return Typed(event.time, event.key, text, patience_s, event)

    def _look_after_gate(self) -> None:
        if self._gate.pastes and not self._in_form:
            self.link.say("pasted text ignored")
        elif self._gate.enters and isinstance(self.screen, Form):
            self.screen.wrong("a pasted line end does not count: press Enter")
        self._gate.pastes = self._gate.enters = 0
        next_s = self._gate.next_s()
        if next_s is not None:
            self.set_timer(max(0.001, next_s - get_time()), self._gate_due)

    async def _gate_due(self) -> None:
        """Keys have waited; where the loop was busy meanwhile, what the terminal has sent since comes first."""
        next_s, now_s = self._gate.next_s(), get_time()
        if next_s is not None and now_s - next_s > LATE_S and not self._patient:
            self._patient = True
            self.set_timer(LATE_S, self._gate_due)
            return
        self._patient = False
        for key in self._gate.due(now_s):
            await super().on_event(key.event)
        self._look_after_gate()

    def on_key(self, event: events.Key) -> None:
        """A key that no form has taken."""
        if self._in_form:
            return
        key = meant(event.key, self.picture)
        if key is None:
            return
        event.stop()
        event.prevent_default()
        if why := barred(key, self.picture):
            self.link.say(why, bad=True)
            return
        if not key.enabled(self.picture):
            self.link.say(f"{key.word}: not now", bad=False)
            return
        actions.ACTIONS[key.action](self)
        self.redraw()

    def action_drop(self) -> None:
        """From everywhere, at once."""
        self.link.drop()
        self.redraw()

    def run_ended(self, run: str) -> None:
        """The record of a run has been closed: what it shows of its rule sets is told on the program's page."""
        self.picture.ended = run
        self.judging.ask(run)

    def _judged(self, run: str) -> None:
        """A run has been judged; of the one that has just ended that is said."""
        sets = self.picture.judged[run].get("sets", ())
        if run == self.picture.ended and sets:
            said = "; ".join(f"{told['rule_set']}: {told['standing']}" for told in sets)
            self.link.say(f"{said} (enter on page 2 says why)")

    def opened(self, page: Page) -> None:
        """A page is shown, or another bank or run on it: fetch what only it needs."""
        self.fetch.opened(page)

    async def action_quit(self) -> None:
        """Every way out asks the same question."""
        actions.leave(self)

    def action_help_quit(self) -> None:
        """Ctrl-C where nobody else has taken it."""
        actions.leave(self)

    def ask_to_leave(self) -> None:
        """As Ctrl-C, from outside."""
        actions.leave(self)

    def get_system_commands(self, screen: Screen[Any]) -> Iterable[SystemCommand]:  # noqa: ARG002 - all alike
        """The palette: every key of the table that means something now, by its word."""
        return actions.palette(self)


def _clock_of(picture: Picture) -> str:
    """The time of day; of a rehearsal, which may run faster than this computer's clock, its own."""
    told = picture.now if picture.place.rehearsal else None
    return time.strftime("%H:%M:%S", time.localtime(told.wall_s if told is not None else None))
