"""Traps of the screen library, each seen to happen with Textual 8.2 before the console was built, held shut by a test.

What happens to signals and terminals is in test_terminal.py: a terminal that is gone (and the trap in it, SIGCONT after
SIGHUP), SIGTERM, SIGTSTP, a terminal that takes no output, a traceback with the values of all variables. That no keymap
moves the drop is in test_app.py. The close button of a console window on Windows cannot be tested here.
"""

import ast
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from textual import events
from textual.geometry import Region

import benchctl.tui
from benchctl.tui.form import Blank, Field, Form, Pick, Sheet
from benchctl.tui.keys import DROP_KEYS
from benchctl.tui.view.text import number
from tests.tui.desk import BANKS, desk
from tests.tui.pictures import alarm, bank

HERE = Path(benchctl.tui.__file__).parent
SOURCES = sorted(HERE.rglob("*.py"))
# Each of these was seen to vanish, to lose a character, or to end the app where it is taken as markup.
MARKED = ("[ALARM] over-temp", "C:\\[x]", "[50%]", "[/] x", "[b]z[/b]", "x\\")
UNUSED = ("notify", "from_markup", "escape", "DataTable", "Sparkline", "Digits", "export_screenshot")
STEERING = "evil\x1b[31mred\x9b2J\u202egnp\x07"


def calls() -> Iterator[tuple[Path, ast.Call, str]]:
    """Every call in the console's sources, with the last part of its name."""
    for path in SOURCES:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call):
                name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
                yield path, node, name


def keyword(call: ast.Call, name: str) -> Any:
    return next((k.value for k in call.keywords if k.arg == name), None)


def test_no_widget_takes_text_as_markup():
    seen = 0
    for path, call, name in calls():
        if name in ("Static", "Label", "Choices", "OptionList", "Button", "Checkbox"):
            seen += 1
            found = keyword(call, "markup")
            assert isinstance(found, ast.Constant), f"{path.name}:{call.lineno}"
            assert found.value is False, f"{path.name}:{call.lineno}"
    assert seen > 3


@pytest.mark.parametrize("trap", UNUSED)
def test_what_takes_markup_in_secret_or_costs_too_much_is_not_used(trap):
    # notify and DataTable end the app at "[/]"; escape forgets capitals; Digits cuts figures; Sparkline and DataTable
    # draw everything again; an exported picture names an address on the net.
    assert [f"{path.name}:{call.lineno}" for path, call, name in calls() if name == trap] == []


async def test_text_with_brackets_stands_on_the_page_as_it_is():
    for text in MARKED:
        async with desk(alarms=(alarm("volts off", "", text=text),)) as d:
            d.console.link.say(text)
            await d.press("4")
            d.console.picture.hint = text
            d.console.redraw()
            await d.pilot.pause()
            assert text in rendered(d.console)


def rendered(console: Any) -> str:
    """What the widget gives to the terminal, in text."""
    face = console.face
    return "\n".join("".join(s.text for s in face.render_line(y)) for y in range(face.size.height))


def sheet_of(text: str) -> Sheet:
    """A form that says it wherever a form says anything."""
    return Sheet(text, (text,), (Blank("a", text, text, text),), (Pick("a", text, text),), live=lambda console: text)


async def test_text_with_brackets_stands_in_a_form_as_it_is():
    async with desk(size=(100, 40)) as d:
        for text in MARKED:
            await d.console.push_screen(Form(sheet_of(text)))
            d.form.wrong(text)
            await d.pilot.pause()
            shown = [strip.text for strip in d.console.screen._compositor.render_strips()]
            assert sum(text in line for line in shown) >= 5, shown
            d.form.action_no()
            await d.until(lambda: not d.open)


async def test_text_that_steers_a_terminal_reaches_it_neither_from_a_page_nor_from_a_form():
    hostile = bank(STEERING, condition=STEERING, unable=STEERING, joined=False)
    standing = (alarm("x", STEERING, text=STEERING),)
    async with desk(hostile, *BANKS[1:], size=(200, 40), charge="Kim", alarms=standing) as d:
        for page in "12345678?":
            await d.press("question_mark" if page == "?" else page)
            d.console.link.say(STEERING)
            d.console.redraw()
            assert all(c.isprintable() for line in rendered(d.console).split("\n") for c in line), page
        await d.console.push_screen(Form(sheet_of(STEERING)))
        d.form.wrong(STEERING)
        d.form.query_one(Field).post_message(events.Paste(STEERING))
        await d.pilot.pause()
        for strip in d.console.screen._compositor.render_strips():
            assert strip.text.replace("\n", "").isprintable(), repr(strip.text)


async def test_a_scan_asks_for_no_layout():
    async with desk(charge="Kim") as d:
        await d.press("l")
        laid_out = 0

        def count(*_: Any, **__: Any) -> None:
            nonlocal laid_out
            laid_out += 1

        await d.pilot.pause()
        for screen in d.console.screen_stack:
            screen._refresh_layout = count  # type: ignore[method-assign]
        for kw in (9.8, 10.2, 9998.3, 10000.1, 0.0):
            await d.show(charge="Kim", target_kw=kw, read_back_kw=kw)
            d.form._tick()
            await d.pilot.pause()
        assert "10000.1" in d.said or "0.0 kW" in d.said
        assert laid_out == 0


async def test_only_rows_that_changed_are_drawn_again(monkeypatch):
    async with desk() as d:
        d.console.redraw()
        drawn: list[Region] = []
        monkeypatch.setattr(d.console.face, "refresh", lambda *regions: drawn.extend(regions or (Region(0, -1, 0, 0),)))
        d.console.picture.clock = "23:59:59"
        d.console.redraw()
        assert [r.y for r in drawn] == [0]
        drawn.clear()
        d.console.redraw()
        assert drawn == []


@given(st.floats(-1e6, 1e6), st.integers(0, 12), st.integers(0, 3), st.booleans())
def test_a_figure_is_rounded_or_not_shown_but_never_cut(value, width, decimals, old):
    text = number(value, width, decimals, old=old)
    assert len(text) == width
    shown = text.strip().strip("()")
    if shown.strip("#"):
        places = len(shown.partition(".")[2])
        assert float(shown) == pytest.approx(round(value, places), abs=10.0**-places * 0.51)


def test_49_99_is_not_shown_as_49_9():
    assert number(49.99, 4, 2) == "50.0"


@pytest.mark.parametrize("key", DROP_KEYS)
def test_the_drop_is_no_key_that_a_field_takes_as_text(key):
    assert not events.Key(key, None).is_printable


def test_frames_come_twice_as_often_and_that_is_said_before_the_library_is_loaded():
    script = (
        "import sys, os\n"
        "import benchctl.cli.screen as screen\n"
        "assert 'textual' not in sys.modules\n"
        "import argparse\n"
        "import benchctl.tui.app as app\n"
    )
    said = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=False, timeout=60)
    assert said.returncode == 0, said.stderr
    source = (HERE.parent / "cli" / "screen.py").read_text(encoding="utf-8")
    tree = ast.parse(source)
    (opens,) = [n for n in ast.walk(tree) if isinstance(n, ast.FunctionDef) and n.name == "made"]
    first = opens.body[1]
    assert isinstance(first, ast.Expr)
    assert ast.unparse(first) == "os.environ.setdefault('TEXTUAL_FPS', '120')"
    assert not [n for n in tree.body if isinstance(n, ast.ImportFrom) and "tui" in (n.module or "")]


def test_nothing_is_written_beside_the_screen():
    assert [f"{p.name}:{c.lineno}" for p, c, name in calls() if name in ("print", "breakpoint")] == []
    assert os.environ.get("TEXTUAL_ALLOW_SIGNALS") is None
