"""The checks before a program: what must hold, as a list that fills in, and what the check loads have shown."""

from benchctl.tui.view.picture import Picture, Told
from benchctl.tui.view.text import Line, Mark, Span, crop, fit, wrap

WIDE = 46  # cells of the list; what is left is for the results
ANSWERS = {
    True: ("■", "#", "yes", Mark.NORMAL),
    False: ("▲", "!", "NO", Mark.ABNORMAL),
    None: ("○", "-", "?", Mark.QUIET),  # not known yet
}
RESULTS = {
    "pass": ("■", "#", Mark.NORMAL),
    "fail": ("×", "X", Mark.FAULTY),
    "not demonstrated": ("▲", "!", Mark.ABNORMAL),
}


def draw(picture: Picture, width: int, height: int) -> list[Line]:
    """List and results: side by side, or the list alone where there is no room."""
    listed = _list(picture, min(WIDE, width))
    if width < WIDE + 20:
        return [*listed, *_results(picture, width, max(0, height - len(listed)))][:height]
    results = _results(picture, width - WIDE - 2, height)
    lines = []
    for y in range(min(height, max(len(listed), len(results)))):
        left = listed[y] if y < len(listed) else ()
        lines.append((*crop(left, WIDE + 2), *(results[y] if y < len(results) else ())))
    return lines


def _list(picture: Picture, width: int) -> list[Line]:
    now = picture.now
    rows = now.permissives if now is not None else ()
    through = any(told.what == "ready" for told in _since_start(picture))
    held = len(rows) if through else sum(answer is True for _, answer in rows)
    lines: list[Line] = [((f" before load: {held} of {len(rows)} {'held' if through else 'hold'}", Mark.STRONG),)]
    for text, answer in rows:
        shape, plain_shape, word, mark = ANSWERS[True if through else answer]
        shape = plain_shape if picture.glyphs == "ascii" else shape
        said = Mark.QUIET if through or answer is None else Mark.PLAIN if answer else Mark.STRONG
        lines.append(((f"  {shape} {word:4}", mark), (fit(text, max(1, width - 8)), said)))
    return lines


def _since_start(picture: Picture) -> list[Told]:
    """What has happened since the start, the newest last."""
    found: list[Told] = []
    for told in reversed(picture.story.events):
        if told.what == "program" or (told.what == "command" and told.text.startswith("start")):
            break
        found.append(told)
    return found[::-1]


def results(picture: Picture) -> list[Told]:
    """What the check loads and stage checks of this start have shown, the newest last."""
    return [told for told in _since_start(picture) if told.what == "check"]


def _results(picture: Picture, width: int, height: int) -> list[Line]:
    """The newest that have room."""
    found = results(picture)
    if height <= 0:
        return []
    if not found:
        said = wrap(
            "Once all of it holds, a small known load on each bank proves wiring, meter and profile.", width - 1
        )
        told: list[Line] = [((" check loads", Mark.STRONG),), *(((f" {line}", Mark.QUIET),) for line in said)]
        return told[:height]
    words = [dict(result.data).get("result") for result in found]
    counts = ", ".join(f"{words.count(word)} {word}" for word in RESULTS if word in words)
    lines: list[Line] = []
    for result in found:
        shape, plain_shape, mark = RESULTS.get(str(dict(result.data).get("result")), ("?", "?", Mark.ABNORMAL))
        shape = plain_shape if picture.glyphs == "ascii" else shape
        for i, line in enumerate(wrap(result.text, max(4, width - 3))):
            start: Span = (f" {shape} ", mark) if i == 0 else ("   ", Mark.PLAIN)
            lines.append((start, (line, Mark.PLAIN)))
    return [((f" check loads: {counts}", Mark.STRONG),), *lines[max(0, len(lines) - height + 1) :]][:height]
