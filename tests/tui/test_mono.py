"""The main pages in one colour at 80 by 24: with what every piece is told by bold, underlined, dim or reverse alone.

Below a line with marks stands one with letters: b bold, d dim, i italic, u underlined, r reverse.
"""

import os
from argparse import Namespace
from collections.abc import Callable

import pytest
from rich.style import Style

from benchctl.cli.screen import made
from benchctl.tui.theme import MARKS, MONO, NIGHT
from benchctl.tui.view.picture import Page, Picture
from benchctl.tui.view.text import Mark, cells
from benchctl.tui.view.whole import draw
from tests.tui import test_alarms, test_bank, test_contact, test_far, test_rules, test_runs, test_trends
from tests.tui.desk import desk
from tests.tui.pictures import alarm, as_it_was, bank, picture, prompt, source
from tests.tui.running import under_way

SIZE = (80, 24)
LETTERS: tuple[tuple[str, Callable[[Style], bool | None]], ...] = (
    ("b", lambda s: s.bold), ("d", lambda s: s.dim), ("i", lambda s: s.italic), ("u", lambda s: s.underline),
    ("r", lambda s: s.reverse),
)  # fmt: skip


def letters(style: Style) -> str:
    """How a style looks without its colours, in a letter or two."""
    return "".join(letter for letter, of in LETTERS if of(style))


def signs(styles: dict[Mark, Style]) -> dict[Mark, str]:
    """One letter for each way of looking; capitals are two ways at once."""
    short = {"": " ", "bu": "U", "br": "R", "bru": "M", "bur": "M", "di": "I"}
    return {mark: short.get(letters(style), letters(style)) for mark, style in styles.items()}


def in_one_colour(shown: Picture) -> str:
    """A screen as text, each line with its marks below it where it has any."""
    sign = signs(MARKS[MONO])
    out = []
    for line in draw(shown, *SIZE):
        out.append("".join(text for text, _ in line).rstrip())
        marks = "".join(sign[mark] * cells(text) for text, mark in line).rstrip()
        out += [f"{marks}"] if marks else []
    return "\n".join(out) + "\n"


def chain() -> Picture:
    """A bank that is lost, one that is stale, a meter that does not move, an alarm, a question."""
    return picture(
        Page.CHAIN, bank(), bank("bank 2", condition="stale", age_s=4.0), bank("bank 3", condition="lost", age_s=60.0),
        bank("bank 4", condition="found on"), source=source(frozen=True), alarms=(alarm(first_out=True),),
        prompt=prompt(),
    )  # fmt: skip


def contact() -> Picture:
    return test_contact.met(test_contact.row("bank 1"), test_contact.row("bank 2", reached=False, outcome="timeout"))


PAGES: dict[str, Callable[[], Picture]] = {
    "chain": chain,
    "program": lambda: under_way(345.0, 3, held="volts low"),
    "plan": test_rules.before,
    "trends": test_trends.ten_minutes,
    "alarms": test_alarms.several,
    "bank": test_bank.one,
    "runs": test_runs.several,
    "run": test_rules.after,
    "far": test_far.running,
    "contact": contact,
}


@pytest.mark.parametrize("name", PAGES)
def test_the_page_in_one_colour_is_laid_out_as_it_was(name):
    as_it_was(in_one_colour(PAGES[name]()), f"mono-{name}-80x24.txt")


def test_in_one_colour_nothing_has_a_colour():
    for style in MARKS[MONO].values():
        assert style.color is not None
        assert style.bgcolor is not None
        assert (style.color.name, style.bgcolor.name) == ("#ffffff", "#000000")


def test_what_needs_a_person_looks_unlike_what_does_not_and_old_unlike_live():
    sign = signs(MARKS[MONO])
    loud = {sign[m] for m in (Mark.FAULTY, Mark.ABNORMAL, Mark.MANDATORY)}
    assert len(loud) == 3
    assert not loud & {sign[m] for m in (Mark.PLAIN, Mark.QUIET, Mark.STRONG, Mark.NORMAL, Mark.OLD, Mark.CURSOR)}
    assert sign[Mark.OLD] not in {sign[m] for m in (Mark.PLAIN, Mark.STRONG, Mark.QUIET)}


@pytest.mark.parametrize(("variables", "look"), [({"NO_COLOR": "1"}, MONO), ({"NO_COLOR": ""}, NIGHT), ({}, NIGHT)])
def test_no_color_in_the_environment_begins_with_one_colour(variables, look, monkeypatch):
    """no-color.org: when present and not an empty string."""
    monkeypatch.delenv("NO_COLOR", raising=False)
    monkeypatch.setenv("TEXTUAL_FPS", os.environ.get("TEXTUAL_FPS", "60"))
    for name, value in variables.items():
        monkeypatch.setenv(name, value)
    given = Namespace(site="northquay", rehearse=True, speed=1.0, runs=None, colours=None, plain=False)
    assert made(given, "Kim").look == look
    given.colours = "sun"
    assert made(given, "Kim").look == "sun", "who names colours gets them"


async def test_every_strip_of_every_page_is_drawn_without_colour():
    async with desk() as d:
        d.console.wear(MONO)
        for key in "12345678":
            await d.press(key)
            for y in range(d.console.size.height):
                for segment in d.console.face.render_line(y):
                    style = segment.style
                    assert style is not None
                    assert {c.name for c in (style.color, style.bgcolor) if c} <= {"#ffffff", "#000000"}
