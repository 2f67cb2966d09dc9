"""One kind of form for everything that needs more than a key: words, fields or a list, Enter does it, Escape does not.

A form is data (`Sheet`); what it asks and does stands in `tui/sheets/`. What is wrong is told in the form, which stays
open; nothing is lost. Enter passes the gate (see `tui/gate.py`), so that a paste never submits.
"""

from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

from textual import events
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.content import Content
from textual.screen import ModalScreen
from textual.widgets import Input, OptionList, Static
from textual.widgets.option_list import Option

from benchctl.tui.view.text import clean

if TYPE_CHECKING:
    from benchctl.tui.app import Console

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
    """What a form says, asks and does. done: returns what is wrong, or nothing, and the form closes.

    first: index of the pick that is marked at the start; the harmless one.
    """

    title: str
    words: tuple[str, ...] = ()
    blanks: tuple[Blank, ...] = ()
    picks: tuple[Pick, ...] = ()
    done: "Callable[[Console, Values], Awaitable[str]] | None" = None
    enter: str = "Enter: do it"
    first: int = 0
    leaving: tuple[str, ...] = ()  # keys that mean "no", like Escape


class Field(Input):
    """An input of one line: what is pasted loses its line ends, and Ctrl keys of terminals mean nothing."""

    def __init__(self, blank: Blank) -> None:
        super().__init__(value=blank.value, placeholder=blank.hint, id=f"field-{blank.key}", select_on_focus=False)
        self.blank = blank

    def _on_paste(self, event: events.Paste) -> None:
        self.insert_text_at_cursor(clean(" ".join(event.text.split())))
        event.stop()
        event.prevent_default()


class Form(ModalScreen[None]):
    """A sheet on the screen."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "no", show=False),
        Binding("ctrl+c", "no", show=False, priority=True),
        Binding("ctrl+q", "no", show=False, priority=True),
        Binding("down", "down", show=False),
        Binding("up", "up", show=False),
    ]

    def __init__(self, sheet: Sheet) -> None:
        super().__init__()
        self.sheet = sheet
        self._busy = False

    def compose(self) -> ComposeResult:
        """The box."""
        with VerticalScroll(id="box", can_focus=False) as box:
            box.border_title = Content(clean(self.sheet.title))
            for text in self.sheet.words:
                yield Static(Content(clean(text)), classes="words", markup=False)
            for blank in self.sheet.blanks:
                yield Static(Content(clean(blank.label)), classes="words label", markup=False)
                yield Field(blank)
            if self.sheet.picks:
                yield OptionList(
                    *(Option(_pick(p), id=f"pick-{i}") for i, p in enumerate(self.sheet.picks)), markup=False
                )
            yield Static("", id="wrong", classes="wrong", markup=False)
            yield Static(f"{self.sheet.enter} · Esc: back", classes="foot", markup=False)

    def on_mount(self) -> None:
        """To the first thing that can be answered."""
        if self.sheet.blanks:
            self.query(Field).first().focus()
        elif self.sheet.picks:
            options = self.query_one(OptionList)
            options.highlighted = self.sheet.first
            options.focus()

    async def on_key(self, event: events.Key) -> None:
        """Keys that no field has taken."""
        if event.key in self.sheet.leaving and not isinstance(self.focused, Field):
            event.stop()
            self.action_no()
        elif event.key == "enter" and not self.sheet.blanks and not self.sheet.picks:
            event.stop()
            await self._do({})

    async def on_input_submitted(self, event: Input.Submitted) -> None:
        """Enter in a field: the next empty one, or done."""
        event.stop()
        fields = list(self.query(Field))
        at = fields.index(event.input) if event.input in fields else len(fields) - 1  # type: ignore[arg-type]
        if at + 1 < len(fields):
            fields[at + 1].focus()
        elif self.sheet.picks:
            self.query_one(OptionList).focus()
        else:
            await self._do({})

    async def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """Enter on a row."""
        event.stop()
        await self._do({"pick": self.sheet.picks[event.option_index].key})

    def action_no(self) -> None:
        """Close; nothing is done."""
        self.dismiss(None)

    def action_down(self) -> None:
        """To the field below."""
        self.focus_next()

    def action_up(self) -> None:
        """To the field above."""
        self.focus_previous()

    def wrong(self, words: str) -> None:
        """Say what is wrong."""
        self.query_one("#wrong", Static).update(Content(clean(words)))

    async def _do(self, values: Values) -> None:
        if self._busy:
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
            self.dismiss(None)
            return
        self._busy = True
        self.wrong("…")
        try:
            said = await self.sheet.done(self.app, values)  # type: ignore[arg-type]
        finally:
            self._busy = False
        if said:
            self.wrong(said)
        elif self.is_current:
            self.dismiss(None)


def _pick(pick: Pick) -> Content:
    beside = f"  {clean(pick.beside)}" if pick.beside else ""
    return Content.assemble(clean(pick.label), (beside, "dim"))
