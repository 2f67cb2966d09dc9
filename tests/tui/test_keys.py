"""The table of keys: complete, unambiguous, deliverable by every terminal, and a drop that nothing else uses."""

import curses
import inspect
from itertools import combinations

import pytest
import textual.widgets
from textual._xterm_parser import XTermParser
from textual.app import App
from textual.binding import Binding
from textual.command import CommandPalette
from textual.dom import DOMNode

from benchctl.tui import actions, form
from benchctl.tui.app import Console
from benchctl.tui.keys import DROP_KEYS, KEYS, QUIT_KEYS, Kind, at, meant
from benchctl.tui.view.picture import Page, Picture
from tests.tui.pictures import picture

# Ctrl keys of terminals, multiplexers and editing habits: tmux(1) C-b, screen(1) C-a, termios(3) C-c C-d C-q C-s C-z.
# C-o is VDISCARD of termios(3), which is off without IEXTEN, as it is here, and which Linux does not implement.
TAKEN = {f"ctrl+{c}" for c in "abcdqsz"}
TERMINFO = {
    "up": "kcuu1", "down": "kcud1", "left": "kcub1", "right": "kcuf1", "pageup": "kpp", "pagedown": "knp",
}  # fmt: skip
TERMINALS = ("linux", "xterm-256color", "tmux-256color", "screen-256color", "vt220")


def test_every_row_does_something_and_everything_that_can_be_done_has_a_row():
    assert {key.action for key in KEYS} == set(actions.ACTIONS)


def test_every_action_has_one_row():
    names = [key.action for key in KEYS]
    assert sorted(names) == sorted(set(names))


@pytest.mark.parametrize("page", Page)
def test_no_key_means_two_things_on_a_page(page):
    for one, other in combinations(at(page), 2):
        assert not set(one.keys) & set(other.keys), (one.action, other.action)
        assert one.shown != other.shown, (one.action, other.action)


@pytest.mark.parametrize("page", Page)
def test_drop_help_and_leave_are_on_every_page(page):
    shown = picture(page)
    assert [key.action for name in (*DROP_KEYS, "question_mark", *QUIT_KEYS) if (key := meant(name, shown))] == [
        "drop", "drop", "page_help", "leave", "leave", "leave"]  # fmt: skip


def test_every_row_can_be_read():
    for key in KEYS:
        assert key.keys, key
        assert key.says.endswith("."), key
        assert 0 < len(key.word) <= 15, key
        assert 0 < len(key.shown) <= 5, key


def test_the_drop_means_something_whatever_the_picture_says():
    (drop,) = (key for key in KEYS if key.action == "drop")
    assert drop.pages == ()
    assert drop.enabled(Picture())
    assert drop.enabled(picture())
    assert drop.kind is Kind.ORDER


def test_the_drop_is_no_key_that_terminals_or_habits_use():
    assert not TAKEN & set(DROP_KEYS)
    assert DROP_KEYS[0].startswith("ctrl+")


def bindings() -> list[tuple[str, str, str]]:
    """Who binds what to which key: our classes and all of Textual's."""
    found = []
    widgets = [getattr(textual.widgets, name) for name in vars(textual.widgets)["__all__"]]
    ours = [c for module in (form, inspect.getmodule(Console)) for _, c in inspect.getmembers(module, inspect.isclass)]
    classes = {c for cls in (*widgets, *ours, CommandPalette, App) for c in cls.__mro__ if issubclass(c, DOMNode)}
    for cls in classes:
        for bound in cls.__dict__.get("BINDINGS", ()):
            binding = bound if isinstance(bound, Binding) else Binding(*bound)
            found += [(cls.__name__, key.strip(), binding.action) for key in binding.key.split(",")]
    return found


def test_the_drop_keys_are_bound_nowhere_else():
    bound = [b for b in bindings() if b[1] in DROP_KEYS]
    assert sorted(bound) == sorted(("Console", key, "drop") for key in DROP_KEYS)
    assert len(bindings()) > 50  # the search finds what there is


def test_the_drop_keys_are_on_no_other_row():
    assert [key.action for key in KEYS if set(key.keys) & set(DROP_KEYS)] == ["drop"]


def test_no_function_key_is_needed():
    for key in KEYS:
        assert any(not name[1:].isdigit() or name[0] != "f" for name in key.keys), key


def parsed(data: str) -> list[str]:
    """The keys that these bytes are."""
    parser = XTermParser()
    return [event.key for event in (*parser.feed(data), *parser.tick())]  # type: ignore[attr-defined]


NAMED = {
    "plus": "+", "minus": "-", "equals_sign": "=", "space": " ", "question_mark": "?", "comma": ",", "full_stop": ".",
    "left_square_bracket": "[", "right_square_bracket": "]", "enter": "\r",
}  # fmt: skip


def test_every_key_is_a_byte_that_any_terminal_sends_or_stands_in_terminfo():
    for key in KEYS:
        for name in key.keys:
            if name in TERMINFO or name == "escape" or (name[0] == "f" and name[1:].isdigit()):
                continue
            data = NAMED.get(name, name)
            if name.startswith("ctrl+"):
                data = chr(ord(name[-1]) & 0x1F)  # ASCII: Ctrl clears the three upper bits
            assert parsed(data) == [name], key


@pytest.mark.parametrize("term", TERMINALS)
def test_what_terminfo_says_of_arrows_and_pages_is_understood(term):
    try:
        curses.setupterm(term)
    except curses.error:
        pytest.skip(f"terminfo knows no {term} here")
    for name, capability in TERMINFO.items():
        sent = curses.tigetstr(capability)
        if sent is not None:
            assert parsed(sent.decode("ascii")) == [name], capability


def test_the_key_line_starts_with_the_drop_and_ends_with_the_way_out():
    from tests.tui.pictures import screen

    for page in Page:
        above, last = screen(picture(page)).splitlines()[-2:]
        assert above.startswith(" ^O ALL LOAD OFF"), page
        assert last.startswith(" 1 chain  2 program"), page
        assert last.endswith("q leave"), page


def test_what_the_table_says_of_the_drop_stands_on_the_help_page():
    from tests.tui.pictures import screen

    assert "^O" in screen(picture(Page.HELP), 120, 60).split("\n", 2)[2]
