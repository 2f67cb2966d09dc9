"""What each mark looks like: by night, in the sun (high contrast) and in one colour.

Colours carry IEC 60073 meanings and nothing else; every mark differs from its neighbours without colour too.
"""

from rich.style import Style
from textual.theme import Theme

from benchctl.tui.view.text import Mark

NIGHT, SUN, MONO = "night", "sun", "one colour"
NAMES = (NIGHT, SUN, MONO)


def _styles(ground: str, **marks: str) -> dict[Mark, Style]:
    base = Style.parse(ground)
    return {mark: base + Style.parse(marks.get(mark.value, "")) for mark in Mark}


MARKS: dict[str, dict[Mark, Style]] = {
    NIGHT: _styles(
        "#d6d6d0 on #101214",
        quiet="#878a88", strong="bold #ffffff", title="bold #ffffff on #2a2f33", normal="#7fc98a",
        abnormal="bold #101214 on #e8c547", faulty="bold #ffffff on #c8322b", mandatory="bold #ffffff on #2f6fc4",
        rehearsal="bold #101214 on #b9bcc0", cursor="bold #101214 on #d6d6d0", old="italic #878a88",
        key="bold #ffffff", asked="#878a88", given="#9fb4c7", measured="bold #ffffff",
    ),
    SUN: _styles(
        "#000000 on #ffffff",
        quiet="#333333", strong="bold", title="bold #ffffff on #000000", normal="bold #005a1e",
        abnormal="bold #000000 on #ffd84d", faulty="bold #ffffff on #b00000", mandatory="bold #ffffff on #003f9e",
        rehearsal="bold underline #000000 on #d0d0d0", cursor="bold #ffffff on #000000", old="italic #555555",
        key="bold", asked="#777777", given="#003f9e", measured="bold #000000",
    ),
    MONO: _styles(
        "#ffffff on #000000",
        quiet="dim", strong="bold", title="bold reverse", normal="",
        abnormal="bold underline", faulty="bold reverse", mandatory="bold reverse underline",
        rehearsal="reverse", cursor="reverse", old="dim italic", key="bold", asked="dim", given="", measured="bold",
    ),
}  # fmt: skip


def _theme(name: str, ground: str, text: str, surface: str, accent: str, *, dark: bool) -> Theme:
    return Theme(
        name=name,
        primary=accent,
        secondary=accent,
        accent=accent,
        foreground=text,
        background=ground,
        surface=surface,
        panel=surface,
        boost=surface,
        warning="#e8c547",
        error="#c8322b",
        success="#7fc98a" if dark else "#005a1e",
        dark=dark,
    )


# For Textual's own widgets: forms and the palette.
THEMES = (
    _theme(NIGHT, "#101214", "#d6d6d0", "#1d2124", "#2f6fc4", dark=True),
    _theme(SUN, "#ffffff", "#000000", "#ececec", "#003f9e", dark=False),
    _theme(MONO, "#000000", "#ffffff", "#1c1c1c", "#ffffff", dark=True),
)
