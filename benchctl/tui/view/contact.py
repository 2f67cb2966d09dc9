"""First contact: which devices answer, as what, in which order, and what about them does not fit the site.

A row is one of the run host's answer to `look`; of what it does not say, the place that was told at the start is asked.
"""

from typing import Any

from benchctl.tui.view.picture import BankTold, Picture
from benchctl.tui.view.scrolled import last, part
from benchctl.tui.view.text import MISSING, Line, Mark, age, fit, number, wrap


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
    units = [r for r in picture.contact if r.get("kind") != "instrument"]
    here = [r for r in units if r.get("reached")]
    rated = sum(_figure(r.get("rated_kw")) or 0.0 for r in here)
    known = [_figure(r.get("available_kw")) for r in here]
    flaws = sum(bool(warnings(r)) for r in picture.contact)
    plate = picture.place.nameplate
    line: Line = (
        (f" {len(here)} of {len(units)} banks answer", Mark.STRONG if len(here) == len(units) else Mark.ABNORMAL),
        ("   rated", Mark.QUIET),
        (number(rated, 10, 0, "kW"), Mark.PLAIN),
        ("   here about", Mark.QUIET),
        (number(None if None in known else sum(k or 0.0 for k in known), 10, 0, "kW"), Mark.STRONG),
    )
    second = f" for a source of {_of(plate, 'power_kw', 0, 'kW')}, {_of(plate, 'volts_v', 0, 'V')}"
    second += f", {_of(plate, 'hertz', 0, 'Hz')}"
    said = "nothing to look at" if not flaws else f"{flaws} to look at"
    return [line, ((second, Mark.QUIET), (f"   {said}", Mark.ABNORMAL if flaws else Mark.QUIET))]


def _of(plate: dict[str, Any], name: str, decimals: int, unit: str) -> str:
    return number(_figure(plate.get(name)), 12, decimals, unit).strip()


def _figure(value: Any) -> float | None:
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None


# -- the table


def _columns(width: int) -> Line:
    head = f"  {fit('', 3)}{fit('device', 14)}{fit('', 9)}{fit('heard', 8)}{fit('rated', 9, right=True)}"
    head += f"{fit('here', 10, right=True)}  {fit('at', 12)}"
    if width >= 110:
        head += f"{fit('serial', 14)}{fit('firmware', 10)}{fit('watchdog', 9)}"
    return ((f"{head}{'where' if width >= 80 else ''}", Mark.QUIET),)


def table(picture: Picture, width: int) -> list[Line]:
    """A line for each device, the units in their order first, and below it what does not fit."""
    lines: list[Line] = []
    for order, row in enumerate(picture.contact, 1):
        told = next((b for b in picture.place.banks if b.name == row.get("name")), None)
        lines.append(_device(picture, row, told, order, width))
        if width < 110 and (said := _said(row)):
            lines.append(((fit(f"      {said}", width), Mark.QUIET),))
        for text in warnings(row):
            lines += [
                ((f"      {'! ' if i == 0 else '  '}{t}", Mark.ABNORMAL),)
                for i, t in enumerate(wrap(text, max(10, width - 9)))
            ]
    return lines


def _device(picture: Picture, row: dict[str, Any], told: BankTold | None, order: int, width: int) -> Line:
    reached = row.get("reached")
    state = "answers" if reached else "silent"
    volts = number(_figure(row.get("rated_v")), 8, 0, "V").strip()
    form = f"{volts} {row.get('connection') or ''}" if told else str(row.get("role") or "")
    spans = [
        (f" {'□' if reached else '×'} {fit(str(order) if told else '', 3)}", Mark.PLAIN if reached else Mark.FAULTY),
        (fit(str(row.get("name", "")), 14), Mark.STRONG),
        (fit(state, 9), Mark.PLAIN if reached else Mark.FAULTY),
        (fit(age(_figure(row.get("age_s"))), 7), Mark.QUIET),
        (number(_figure(row.get("rated_kw")), 10, 0, "kW") if told else " " * 10, Mark.PLAIN),
        (f"{number(_figure(row.get('available_kw')), 10, 0, 'kW')}  " if told else " " * 12, Mark.STRONG),
        (fit(form, 12), Mark.PLAIN),
    ]
    if width >= 110:
        dog = (
            "none"
            if row.get("watchdog_s") is None and told
            else number(_figure(row.get("watchdog_s")), 8, 0, "s").strip()
        )
        spans.append((fit(str(row.get("serial") or MISSING), 13) + " ", Mark.PLAIN))
        spans.append((fit(str(row.get("firmware") or MISSING), 9) + " ", Mark.PLAIN))
        spans.append((fit(dog if told else "", 9), Mark.PLAIN))
    where = picture.place.ends.get(str(row.get("name", "")), told.endpoint if told else "")
    spans.append((fit(f"{where}{f'  {told.title}' if told and width >= 140 else ''}", max(0, width - 73)), Mark.QUIET))
    return tuple(spans)


def _said(row: dict[str, Any]) -> str:
    """What a narrow window has no column for."""
    watchdog_s, load_kw = _figure(row.get("watchdog_s")), _figure(row.get("load_kw"))
    parts = [
        f"model {row['model']}" if row.get("model") else "",
        f"serial {row['serial']}" if row.get("serial") else "",
        f"firmware {row['firmware']}" if row.get("firmware") else "",
        "" if watchdog_s is None else f"watchdog {watchdog_s:g} s",
        f"load on, {load_kw:.1f} kW at rated volts" if row.get("load_on") and load_kw is not None else "",
    ]
    return ", ".join(filter(None, parts))


def warnings(row: dict[str, Any]) -> list[str]:
    """What about a device should be looked at, in words."""
    said = [str(w) for w in row.get("warnings", ())]
    if not said and not row.get("reached"):
        said.append("it has never answered" if row.get("age_s") is None else "it does not answer any more")
    return [*said, *(f"it reports: {fault}" for fault in row.get("faults", ()))]
