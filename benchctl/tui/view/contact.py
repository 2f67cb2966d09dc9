"""First contact: which devices answer, as what, in which order, and what about them does not fit the site.

A row is one of the run host's answer to `look`; of what it does not say, the place that was told at the start is asked.
"""

from typing import Any

from benchctl.tui.view.chain import ASCII
from benchctl.tui.view.picture import BankTold, Picture
from benchctl.tui.view.scrolled import last, part
from benchctl.tui.view.text import MISSING, Line, Mark, Span, age, cells, fit, number, wrap

WIDE = 130  # from here on what a device says of itself stands in columns


def draw(picture: Picture, width: int, height: int) -> list[Line]:
    """The page."""
    if not picture.contact:
        return [(), ((f"   {picture.fetching or 'asking who answers'}", Mark.QUIET),)]
    head = [*_totals(picture, width), (), _columns(width)]
    return [*head, *part(table(picture, width), picture.cursor.scroll, max(1, height - len(head)))]


def furthest(picture: Picture, width: int, height: int) -> int:
    """How far the page can be scrolled."""
    return last(len(table(picture, width)), max(1, height - 4)) if picture.contact else 0


def _totals(picture: Picture, width: int) -> list[Line]:
    names = {b.name for b in picture.place.banks}
    units = [r for r in picture.contact if r.get("name") in names]
    here = [r for r in units if r.get("reached")]
    rated = sum(_figure(r.get("rated_kw")) or 0.0 for r in here)
    known = [_figure(r.get("available_kw")) for r in here]
    flaws = sum(bool(warnings(r)) for r in picture.contact)
    plate = picture.place.nameplate
    line: Line = (
        (f" {len(here)} of {len(units)} banks answer ", Mark.STRONG if len(here) == len(units) else Mark.ABNORMAL),
        ("  rated", Mark.QUIET),
        (number(rated, 10, 0, "kW"), Mark.PLAIN),
        ("   here about", Mark.QUIET),
        (number(None if None in known else sum(k or 0.0 for k in known), 10, 0, "kW"), Mark.STRONG),
    )
    second = f" for a source of {_of(plate, 'power_kw', 0, 'kW')}, {_of(plate, 'volts_v', 0, 'V')}"
    second += f", {_of(plate, 'hertz', 0, 'Hz')}"
    said = "nothing to look at" if not flaws else f"{flaws} to look at"
    return [line, ((second, Mark.QUIET), ("  ", Mark.PLAIN), (f" {said} ", Mark.ABNORMAL if flaws else Mark.QUIET))]


def _of(plate: dict[str, Any], name: str, decimals: int, unit: str) -> str:
    return number(_figure(plate.get(name)), 12, decimals, unit).strip()


def _figure(value: Any) -> float | None:
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None


# -- the table


def _columns(width: int) -> Line:
    head = f"   {fit('', 4)}{fit('device', 14)}{fit('', 9)}{fit('heard', 6, right=True)}{fit('rated', 10, right=True)}"
    head += f"{fit('here', 10, right=True)}  {fit('rated for', 14)}"
    if width >= WIDE:
        head += f"{fit('model', 14)}{fit('serial', 14)}{fit('firmware', 10)}{fit('watchdog', 10)}at"
    return ((head, Mark.QUIET),)


def table(picture: Picture, width: int) -> list[Line]:
    """A line for each device, the units in their order first, and below it what does not fit."""
    lines: list[Line] = []
    for order, row in enumerate(picture.contact, 1):
        told = next((b for b in picture.place.banks if b.name == row.get("name")), None)
        lines.append(_device(picture, row, told, order, width))
        if width < WIDE:
            lines += [((f"       {said}", Mark.QUIET),) for said in _said(picture, row, max(10, width - 8))]
        for text in warnings(row):
            parts = wrap(text, max(10, width - 10))
            lines += [_warned(said, first=i == 0) for i, said in enumerate(parts)]
    return lines


def _warned(said: str, *, first: bool) -> Line:
    return (
        ("    ", Mark.PLAIN),
        (" ! " if first else "   ", Mark.ABNORMAL if first else Mark.PLAIN),
        (said, Mark.STRONG),
    )


def _device(picture: Picture, row: dict[str, Any], told: BankTold | None, order: int, width: int) -> Line:
    reached = row.get("reached")
    how = Mark.PLAIN if reached else Mark.FAULTY
    volts = number(_figure(row.get("rated_v")), 7, 0, "V").strip()
    rated = _figure(row.get("rated_kw"))
    place = next(
        (f"{role} at {where}" for name, role, where in picture.place.instruments if name == row.get("name")), ""
    )
    spans: list[Span] = [
        (f" {_shape(picture, '□' if reached else '×')} ", how),
        (fit(str(order) if told else "", 4), Mark.PLAIN),
        (fit(str(row.get("name", "")), 14), Mark.STRONG),
        (fit("answers" if reached else "silent", 9), Mark.PLAIN if reached else Mark.STRONG),
        (fit(age(_figure(row.get("age_s"))), 6, right=True), Mark.QUIET),
    ]
    if told:
        spans.append((number(told.rated_kw if rated is None else rated, 10, 0, "kW"), Mark.PLAIN))
        spans.append((number(_figure(row.get("available_kw")), 10, 0, "kW"), Mark.STRONG))
        form = f"{volts} {row.get('connection') or ''}"
        spans.append((f"  {fit(form, 14)}", Mark.PLAIN))
    else:
        spans.append((f"  {fit(place, 34)}", Mark.QUIET))
    if width >= WIDE:
        dog = number(_figure(row.get("watchdog_s")), 8, 0, "s").strip() if told else ""
        says = (("model", 14), ("serial", 14), ("firmware", 10))
        spans += [(fit(str(row.get(key) or MISSING), wide - 1) + " ", Mark.PLAIN) for key, wide in says]
        spans += [(fit(dog, 10), Mark.PLAIN), (fit(_end(picture, row), max(0, width - 120)), Mark.QUIET)]
    return tuple(spans)


def _shape(picture: Picture, shape: str) -> str:
    return ASCII.get(shape, shape) if picture.glyphs == "ascii" else shape


def _end(picture: Picture, row: dict[str, Any]) -> str:
    return picture.place.ends.get(str(row.get("name", "")), str(row.get("at") or ""))


def _said(picture: Picture, row: dict[str, Any], width: int) -> list[str]:
    """What a narrow window has no column for, over as many lines as it needs; nothing is torn apart that fits."""
    watchdog_s, load_kw = _figure(row.get("watchdog_s")), _figure(row.get("load_kw"))
    parts = [
        f"at {_end(picture, row)}" if _end(picture, row) else "",
        f"model {row['model']}" if row.get("model") else "",
        f"serial {row['serial']}" if row.get("serial") else "",
        f"firmware {row['firmware']}" if row.get("firmware") else "",
        "" if watchdog_s is None else f"watchdog {watchdog_s:g} s",
        f"load on, {load_kw:.1f} kW at rated volts" if row.get("load_on") and load_kw is not None else "",
    ]
    lines: list[str] = []
    for said in filter(None, parts):
        joined = f"{lines[-1]}, {said}" if lines else said
        if lines and cells(joined) <= width:
            lines[-1] = joined
        else:
            lines.append(said)
    return [fit(line, width).rstrip() for line in lines]


def warnings(row: dict[str, Any]) -> list[str]:
    """What about a device should be looked at, in words."""
    said = [str(w) for w in row.get("warnings", ())]
    if not said and not row.get("reached"):
        said.append("it has never answered" if row.get("age_s") is None else "it does not answer any more")
    said += [str(w) for w in row.get("misfits", ())]
    return [*said, *(f"it reports: {fault}" for fault in row.get("faults", ()))]
