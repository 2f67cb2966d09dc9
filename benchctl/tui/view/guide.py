"""Help: every key of the key table, first steps, what the shapes and marks mean, the colours, and what this is not."""

from benchctl.core.unit_condition import CONDITIONS
from benchctl.tui.keys import KEYS, Key
from benchctl.tui.view import alarms
from benchctl.tui.view.chain import SHAPES
from benchctl.tui.view.picture import Picture
from benchctl.tui.view.scrolled import last, part
from benchctl.tui.view.text import Line, Mark, Span, cells, crop, fit, wrap

WIDE = 120

# Every action of the key table stands in one group; a test holds the two together.
GROUPS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("Take load off", ("drop", "unload")),
    ("Answer", ("yes", "no", "check_in")),
    ("Load by hand", (
        "charge", "take_over", "unattended", "set_load", "raise_load", "lower_load", "switch", "adopt", "join",
        "confirm_fans", "override",
    )),
    ("Program", ("program", "start", "pause", "resume", "extend", "skip", "reading", "correct", "remark")),
    ("Alarms", ("acknowledge", "acknowledge_all", "shelve", "reset", "history")),
    ("Rehearsal and site", ("pace", "inject", "site")),
    ("Look", (
        "page_chain", "page_program", "page_trends", "page_alarms", "page_bank", "open_bank", "page_runs", "open_run",
        "page_far", "page_contact", "page_help", "back", "up", "down", "page_up", "page_down", "left", "right",
        "wider", "closer", "theme", "palette",
    )),
    ("Rule sets", ("judge_by", "open_rules", "working")),
    ("Leave", ("leave",)),
)  # fmt: skip

FIRST_STEPS = (
    "A rehearsal shows it all; nothing real is touched. Try the demo:",
    "c  take charge: read the cautions, say who watches",
    "f  pick a program and look at its plan",
    "g  start it: the checks fill in by themselves; y answers what is asked",
    "2  watch it on its graph; 1 shows the chain, 4 the alarms",
    "b  break something; see what comes off and why; r resets a trip",
    "^O at any time: all load off, at once, from everywhere",
    "q  leave: asks first while load is on",
)
NO_SAFETY = (
    "benchctl is no safety device. The emergency stops, the breakers and the banks' own protection are: know where "
    "they are before you put load on."
)
COLOURS = (
    "Colours mean what IEC 60073 says: red faulty, yellow abnormal, blue somebody must act. Nothing is told by colour "
    "alone. t changes them: night, sun (high contrast), one colour; NO_COLOR in the environment begins with one colour."
)
MARKS = (
    ("(98.4)", "in parentheses: an old value, not of now"),
    ("—", "not known; never the same as 0"),
    ("####", "a figure that has no room; make the window wider"),
    ("ordered", "what we asked for"),
    ("read back", "what the bank says it has closed"),
    ("measured", "what a meter says"),
    ("possible", "what may be on at most, reckoned high"),
)

NAMES = {
    "plus": "+", "minus": "-", "equals_sign": "=", "question_mark": "?", "left_square_bracket": "[",
    "right_square_bracket": "]", "comma": ",", "full_stop": ".", "up": "↑", "down": "↓", "left": "←", "right": "→",
    "pageup": "pgup", "pagedown": "pgdn", "escape": "esc",
}  # fmt: skip


def draw(picture: Picture, width: int, height: int) -> list[Line]:
    """The page."""
    return part(lines(picture, width), picture.cursor.scroll, height)


def furthest(picture: Picture, width: int, height: int) -> int:
    """How far the page can be scrolled."""
    return last(len(lines(picture, width)), height)


def lines(picture: Picture, width: int) -> list[Line]:
    """The whole page, however long: two columns in a wide window, one in a narrow one."""
    if width < WIDE:
        return [*_keys(width), (), *_steps(width), (), *_shapes(picture, width), (), *_rest(width)]
    half = width // 2
    left = [*_keys(half - 2)]
    right = [*_steps(half), (), *_shapes(picture, half), (), *_rest(half)]
    rows = max(len(left), len(right))
    left += [()] * (rows - len(left))
    right += [()] * (rows - len(right))
    return [(*crop(a, half), *crop(b, width - half)) for a, b in zip(left, right, strict=True)]


def _keys(width: int) -> list[Line]:
    by_action = {key.action: key for key in KEYS}
    out: list[Line] = []
    for title, actions in GROUPS:
        out.append(((f" {title}", Mark.STRONG),))
        for action in actions:
            if action in by_action:
                out += _key(by_action[action], width)
        if title == GROUPS[0][0]:
            out += [((f"  {said}", Mark.STRONG),) for said in wrap(NO_SAFETY, max(10, width - 4))]
        out.append(())
    return out[:-1]


def shown(key: Key) -> str:
    """All names of a key, as they stand on a keyboard."""
    return " ".join(_name(name) for name in key.keys)


def _name(name: str) -> str:
    if name.startswith("ctrl+"):
        return f"^{name[-1].upper()}"
    return NAMES.get(name, name.upper() if len(name) > 1 and name[0] == "f" and name[1:].isdigit() else name)


def _key(key: Key, width: int) -> list[Line]:
    where = f" ({', '.join(p.value for p in key.pages)})" if 0 < len(key.pages) <= 2 else ""
    said = wrap(f"{key.says}{where}", max(10, width - 29))
    how = Mark.FAULTY if key.action == "drop" else Mark.KEY
    first: list[Span] = [
        ("  ", Mark.PLAIN),
        (shown(key), how),
        (" " * max(1, 9 - cells(shown(key))), Mark.PLAIN),
        (fit(key.word, 17), Mark.PLAIN),
    ]
    return [(*first, (said[0], Mark.QUIET)), *(((" " * 28 + more, Mark.QUIET),) for more in said[1:])]


def _steps(width: int) -> list[Line]:
    out: list[Line] = [((" First steps", Mark.STRONG),)]
    for i, step in enumerate(FIRST_STEPS):
        if i == 0:
            out += [((f"  {said}", Mark.PLAIN),) for said in wrap(step, max(10, width - 3))]
            continue
        said = wrap(step[3:], max(10, width - 7))
        out.append(((f"  {step[:2]}  ", Mark.KEY), (said[0], Mark.PLAIN)))
        out += [((f"      {more}", Mark.PLAIN),) for more in said[1:]]
    return out


def _shapes(picture: Picture, width: int) -> list[Line]:
    out: list[Line] = [((" Banks: shape, word, meaning", Mark.STRONG),)]
    for condition in CONDITIONS:
        out += _shape(picture, condition.word, condition.says, SHAPES[condition.word], width)
    out += [(), ((" Alarms (words of IEC 62682)", Mark.STRONG),)]
    for word, says in alarms.SAYS.items():
        out += _shape(picture, word, says, alarms.SHAPES[word], width)
    out += [(), ((" Figures and marks", Mark.STRONG),)]
    return [
        *out,
        *(((f"    {fit(m, 14)}", Mark.PLAIN), (fit(says, max(0, width - 19)), Mark.QUIET)) for m, says in MARKS),
    ]


def _shape(picture: Picture, word: str, says: str, look: tuple[str, Mark], width: int) -> list[Line]:
    shape = alarms.PLAINER.get(look[0], look[0]) if picture.glyphs == "ascii" else look[0]
    said = wrap(says, max(10, width - 19))
    first: Line = ((" ", Mark.PLAIN), (f" {shape} ", look[1]), (f"{fit(word, 14)} ", Mark.PLAIN), (said[0], Mark.QUIET))
    return [first, *(((" " * 19 + more, Mark.QUIET),) for more in said[1:])]


def _rest(width: int) -> list[Line]:
    out: list[Line] = [((" Colours", Mark.STRONG),)]
    return [*out, *(((f"  {said}", Mark.PLAIN),) for said in wrap(COLOURS, max(10, width - 4)))]
