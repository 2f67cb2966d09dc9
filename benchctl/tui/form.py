"""One kind of form for everything that needs more than a key: words, fields or a list, Enter does it, Escape does not.

A form is data (`Sheet`); what it asks and does stands in `tui/sheets/`. What is wrong is told in the form, which stays
open; nothing is lost. Enter passes the gate (see `tui/gate.py`), so that a paste never submits. Where a window is too
small for a form it is put aside, and Enter does nothing until it is seen again.
"""

from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar, cast

from textual import events
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.content import Content
from textual.screen import ModalScreen
from textual.widgets import Input, OptionList, Static
from textual.widgets.option_list import Option

from benchctl.tui.view.picture import DropStep
from benchctl.tui.view.text import cells, clean
from benchctl.tui.view.whole import SMALLEST

if TYPE_CHECKING:
    from benchctl.tui.app import Console

WIDEST = 28  # cells of a list's first column
TICK_S = 0.25  # between two looks at what changes by itself

Values = dict[str, str]


@dataclass(frozen=True, slots=True)
class Blank:
    """A field. check: what is wrong with a text, or nothing; hint: what is expected."""

    key: str
    label: str
    value: str = ""
    hint: str = ""
    check: Callable[[str], str] = lambda text: ""


@dataclass(frozen=True, slots=True)
class Pick:
    """A row of a list. key: what is handed to `done`, as "pick"; beside: said in grey."""

    key: str
    label: str
    beside: str = ""


@dataclass(frozen=True, slots=True)
class Sheet:
    """What a form says, asks and does.

    done: returns what is wrong, or nothing and the form closes, or the sheet that comes next. first: index of the pick
    that is marked at the start; the harmless one. live: a line that is asked for again and again.
    """

    title: str
    words: tuple[str, ...] = ()
    blanks: tuple[Blank, ...] = ()
    picks: tuple[Pick, ...] = ()
    done: "Callable[[Console, Values], Awaitable[Answer]] | None" = None
    enter: str = "Enter: do it"
    first: int = 0
    leaving: tuple[str, ...] = ()  # keys that mean "no", like Escape
    live: "Callable[[Console], str] | None" = None


Answer = str | Sheet


class Field(Input):
    """An input of one line: what is pasted loses its line ends, and what could steer a terminal.

    What stood there from the begin is selected when one comes to it, so that typing takes its place: 40 typed at 100 is
    no 10040. What a person has typed stays.
    """

    def __init__(self, blank: Blank) -> None:
        super().__init__(value=clean(blank.value), placeholder=clean(blank.hint), select_on_focus=False)
        self.blank = blank

    def on_focus(self) -> None:
        """What was filled in for him can be typed over."""
        if self.value and self.value == clean(self.blank.value):
            self.select_all()

    def _on_paste(self, event: events.Paste) -> None:
        self.replace(clean(" ".join(event.text.split())), *self.selection)
        event.stop()
        event.prevent_default()


class Choices(OptionList):
    """A list; its rows are text, whatever stands in them."""


class Form(ModalScreen[None]):
    """A sheet on the screen."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "no", show=False),
        Binding("ctrl+c", "no", show=False, priority=True),
        Binding("down", "down", show=False),
        Binding("up", "up", show=False),
        Binding("pagedown", "turn(1)", show=False),
        Binding("pageup", "turn(-1)", show=False),
    ]

    def __init__(self, sheet: Sheet) -> None:
        super().__init__()
        self.sheet = sheet
        self._busy = False

    @property
    def console_app(self) -> "Console":
        """The app, by its own type."""
        return cast("Console", self.app)

    def compose(self) -> ComposeResult:
        """The box."""
        sheet = self.sheet
        with VerticalScroll(id="box", can_focus=False) as box:
            box.border_title = Content(clean(sheet.title))
            for text in sheet.words:
                yield Static(Content(clean(text)), classes="words", markup=False)
            if sheet.live is not None:
                yield Static(Content(clean(sheet.live(self.console_app))), id="live", classes="live", markup=False)
            for blank in sheet.blanks:
                yield Static(Content(clean(blank.label)), classes="words label", markup=False)
                yield Field(blank)
            if sheet.picks:
                wide = min(WIDEST, max(cells(clean(pick.label)) for pick in sheet.picks))
                yield Choices(*(Option(_pick(pick, wide)) for pick in sheet.picks), markup=False)
            yield Static("", id="wrong", classes="wrong", markup=False)
            yield Static(Content(self._foot()), id="foot", classes="foot", markup=False)

    def on_mount(self) -> None:
        """To the first thing that can be answered; then keep what changes by itself fresh."""
        self._begin()
        self.set_interval(TICK_S, self._tick)

    def _begin(self) -> None:
        if self.sheet.blanks:
            self.query(Field).first().focus()
        elif self.sheet.picks:
            choices = self.query_one(Choices)
            choices.highlighted = self.sheet.first
            choices.focus()

    def _tick(self) -> None:
        if self.sheet.live is not None and (live := self.query("#live")):
            live.first(Static).update(Content(clean(self.sheet.live(self.console_app))), layout=False)
        if foot := self.query("#foot"):
            foot.first(Static).update(Content(self._foot()), layout=False)

    def _foot(self) -> str:
        """The keys; while a drop is on its way, how far it is: the page's own line may be under the form."""
        picture = self.console_app.picture
        if picture.drop is DropStep.NONE:
            return f"{self.sheet.enter} · Esc: back · ^O: all load off"
        if picture.drop_why:
            return clean(f"ALL LOAD OFF {picture.drop.value}: {picture.drop_why}")
        return f"ALL LOAD OFF {picture.drop.value} · {self.sheet.enter} · Esc: back"

    # -- size

    def on_resize(self, event: events.Resize) -> None:
        """Put the form aside where nothing of it could be read."""
        box = self.query_one("#box")
        seen = event.size.width >= SMALLEST[0] and event.size.height >= SMALLEST[1]
        if box.display != seen:
            box.display = seen
            if seen:
                self.call_after_refresh(self._begin)

    @property
    def seen(self) -> bool:
        """Whether the window has room for it."""
        return bool(self.query_one("#box").display)

    # -- keys

    async def on_key(self, event: events.Key) -> None:
        """Keys that no field has taken."""
        if event.key in self.sheet.leaving and not isinstance(self.focused, Field):
            event.stop()
            self.action_no()
        elif event.key == "enter" and not self.sheet.blanks and not self.sheet.picks:
            event.stop()
            self._do({})

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Enter in a field: on to the next one, or done."""
        event.stop()
        fields = list(self.query(Field))
        at = next((i for i, field in enumerate(fields) if field is event.input), len(fields) - 1)
        if at + 1 < len(fields):
            fields[at + 1].focus()
        elif self.sheet.picks:
            self.query_one(Choices).focus()
        else:
            self._do({})

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """Enter on a row."""
        event.stop()
        self._do({"pick": self.sheet.picks[event.option_index].key})

    def action_no(self) -> None:
        """Close; nothing is done."""
        if self.is_current:
            self.dismiss(None)

    def action_down(self) -> None:
        """To the field below."""
        self.focus_next()

    def action_up(self) -> None:
        """To the field above."""
        self.focus_previous()

    def action_turn(self, sign: int) -> None:
        """Words that are longer than the window."""
        box = self.query_one("#box", VerticalScroll)
        box.scroll_relative(y=sign * max(1, box.size.height - 2), animate=False)

    # -- doing

    def wrong(self, words: str) -> None:
        """Say what is wrong."""
        self.query_one("#wrong", Static).update(Content(clean(words)))

    def _do(self, values: Values) -> None:
        """Check the fields, then do it; the form still takes Escape while the run host is asked."""
        if self._busy or not self.seen:
            return
        for field in self.query(Field):
            text = field.value.strip()
            said = field.blank.check(text)
            if said:
                self.wrong(f"{field.blank.label}: {said}")
                field.focus()
                return
            values[field.blank.key] = text
        if self.sheet.done is None:
            self.action_no()
            return
        self._busy = True
        self.wrong("asking the run host …")
        self.run_worker(self._done(values))

    async def _done(self, values: Values) -> None:
        assert self.sheet.done is not None
        try:
            answer = await self.sheet.done(self.console_app, values)
        finally:
            self._busy = False
        if not self.is_attached or not self.is_current:
            return
        if isinstance(answer, Sheet):
            self.sheet = answer
            await self.recompose()
            self._begin()
        elif answer:
            self.wrong(answer)
        else:
            self.dismiss(None)


def _pick(pick: Pick, wide: int) -> Content:
    """A row of a list: what it is, and beside it what that means."""
    label = clean(pick.label)
    room = " " * max(0, wide - cells(label))
    return Content.assemble(f" {label}", (f"{room}  {clean(pick.beside)}", "dim") if pick.beside else "")
