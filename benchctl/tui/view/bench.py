"""One bench of many: what it has told last, how old each part is, its alarms and its banks."""

from benchctl.core.reading import Maybe
from benchctl.mqtt.payloads import Alarm, Live, Unit
from benchctl.mqtt.picture import Bench
from benchctl.tui.view.benches import ASCII, first_out, state_of, word_of
from benchctl.tui.view.chain import SHAPES, UNKNOWN
from benchctl.tui.view.text import Line, Mark, Span, age, fit, minutes, number, wrap
from benchctl.tui.view.watched import Watched

APART_S = 2.0  # of two clocks: more is told
VALUED = 12


def lines(watched: Watched, b: Bench, width: int) -> list[Line]:
    """All that is known, as long as it is; the window shows a part of it."""
    found = [*_head(watched, b, width), *_figures(b), (), *_course(b, width)]
    if b.standing is not None and b.standing.alarms:
        found += [(), ((" alarms that stand", Mark.QUIET),), *(_alarm(watched, b, a) for a in b.standing.alarms)]
    if b.live is not None and b.live.units:
        found += [(), *_units(watched, b, b.live, width)]
    return found


def _head(watched: Watched, b: Bench, width: int) -> list[Line]:
    state = state_of(b)
    shape = ASCII.get(state.shape, state.shape) if watched.glyphs == "ascii" else state.shape
    title = b.plate.title if b.plate is not None else ""
    world: list[Span] = [(" REHEARSAL ", Mark.REHEARSAL), (" ", Mark.PLAIN)] if b.rehearsal else []
    head: Line = (
        (f" {shape} {word_of(b)} ", state.mark),
        (" ", Mark.PLAIN),
        *world,
        (b.name, Mark.STRONG),
        (f"  {title}", Mark.QUIET),
    )
    said = [b.why] if b.why else []
    if b.told is not None:
        kept = "" if b.live is not None else ", as the broker has kept it"
        said.append(f"what is shown is {age(b.age_s)} old{kept}" if not b.is_live else "")
    if b.clock_s is not None and abs(b.clock_s) > APART_S:
        which = "behind" if b.clock_s > 0.0 else "ahead of"
        said.append(f"its clock is {abs(b.clock_s):.0f} s {which} this computer's")
    if b.missed:
        said.append(f"{b.missed} snapshots of this session have not come")
    if b.flaws:
        said.append(f"{b.flaws} messages of it were not used; the last: {b.flaw}")
    mark = Mark.QUIET if b.is_live and not b.why else Mark.ABNORMAL
    parts = [part for text in said if text for part in wrap(text, max(10, width - 3))]
    return [head, *(((f"   {part}", mark),) for part in parts), ()]


def _block(rows: tuple[tuple[tuple[str, Maybe, int, str, bool], ...], ...]) -> list[Line]:
    found: list[Line] = []
    for row in rows:
        spans: list[Span] = []
        for name, value, decimals, unit, old in row:
            spans.append((fit(name, 10, right=True), Mark.QUIET))
            spans.append((number(value, VALUED, decimals, unit, old=old), Mark.OLD if old else Mark.STRONG))
        found.append(tuple(spans))
    return found


def _figures(b: Bench) -> list[Line]:
    old = not b.is_live
    if b.live is None:
        state = b.state
        if state is None:
            return [(("   nothing is known of it", Mark.QUIET),)]
        return _block(
            (
                (("target", state.target_kw, 1, "kW", True), ("delivered", state.delivered.power_kw, 1, "kW", True)),
                (("source", state.source_kw, 1, "kW", True), ("hertz", state.hertz, 2, "Hz", True)),
            )
        )
    s = b.live
    read, given, source = old or s.read_back.stale, old or s.delivered.stale, old or s.source.stale
    return _block(
        (
            (
                ("target", s.target_kw, 1, "kW", old),
                ("delivered", s.delivered.power_kw, 1, "kW", given),
                ("read back", s.read_back.power_kw, 1, "kW", read),
            ),
            (
                ("available", s.available_kw, 1, "kW", old),
                ("limit", s.ceiling_kw, 1, "kW", old),
                ("site", s.source.site_kw, 1, "kW", source),
            ),
            (
                ("source", s.source.power_kw, 1, "kW", source),
                ("hertz", s.source.hertz, 2, "Hz", source),
                ("volts", s.source.volts_v, 1, "V", source),
            ),
        )
    )


def _course(b: Bench, width: int) -> list[Line]:
    """The program, who has charge, the record, the run."""
    told, old = b.told, not b.is_live
    if told is None:
        return []
    rows: list[tuple[str, str]] = []
    course = b.live.course if b.live is not None else None
    if course is not None and course.program:
        leg = f", {course.label or course.kind}" if course.label or course.kind else ""
        left = f", {minutes(course.program_to_go_s)} to go" if course.program_to_go_s is not None else ""
        rows.append(("program", f"{course.program}{leg}{left}{f'; held: {course.held}' if course.held else ''}"))
    rows.append(("charge", told.charge or "nobody"))
    rows.append(("recorder", told.recorder))
    if first_out(b):
        rows.append(("first out", first_out(b)))
    if b.run is not None and b.run.run:
        verdicts = "".join(f"; {v.rule_set}: {v.outcome}" for v in b.run.verdicts or ())
        how = "in hand" if b.run.in_hand else f"{b.run.outcome}{'' if b.run.sealed else ', not sealed'}"
        rows.append(("run", f"{b.run.run}: {how}{verdicts}"))
    if b.event is not None:
        rows.append(("last event", b.event.text or b.event.what))
    mark = Mark.OLD if old else Mark.PLAIN
    found: list[Line] = []
    for name, text in rows:
        for i, part in enumerate(wrap(f"({text})" if old else text, max(10, width - 13))):
            found.append(((fit("" if i else name, 11, right=True), Mark.QUIET), (f"  {part}", mark)))
    return found


def _alarm(watched: Watched, b: Bench, alarm: Alarm) -> Line:
    serious = alarm.reaction != "alarm"
    shape = "×" if serious else "▲"
    shape = ASCII[shape] if watched.glyphs == "ascii" else shape
    states = (
        ("shelved", bool(alarm.shelved_s)),
        ("active", alarm.active and not alarm.shelved_s),
        ("cleared", not alarm.active and not alarm.shelved_s),
        ("acknowledged", alarm.acknowledged and not alarm.shelved_s),
        ("latched", alarm.latched),
        ("first out", alarm.first_out),
    )
    words = ", ".join(word for word, holds in states if holds)
    fresh = not alarm.acknowledged and b.is_live
    mark = Mark.QUIET if not fresh else Mark.FAULTY if serious else Mark.ABNORMAL
    where = f"{alarm.unit}: " if alarm.unit and alarm.unit not in alarm.text else ""
    return ((f"   {shape} {where}{alarm.text}", mark), (f"  {words}", Mark.QUIET))


def _units(watched: Watched, b: Bench, live: Live, width: int) -> list[Line]:
    name = max(6, min(20, max(len(u.name) for u in live.units)))
    heads = f"     {fit('bank', name)} {fit('state', 12)}  ordered readback measured  exhaust    age"
    return [((heads, Mark.QUIET),), *(_unit(watched, b, u, name) for u in live.units)]


def _unit(watched: Watched, b: Bench, u: Unit, name: int) -> Line:
    old = u.stale or not b.is_live
    shape, mark = SHAPES.get(u.condition, UNKNOWN)
    shape = (
        ASCII.get(shape, "%" if shape in "◆◇" else "o" if shape == "○" else shape)
        if watched.glyphs == "ascii"
        else shape
    )
    if not b.is_live:
        mark = Mark.OLD
    figures = (u.commanded_kw, u.read_back_kw, u.measured_kw)
    text = "".join(f" {number(v, 8, 1, old=old)}" for v in figures)
    return (
        (f"   {shape} {fit(u.name, name)} ", mark),
        (fit(f"({u.condition})" if not b.is_live else u.condition, 13), mark),
        (text, Mark.OLD if old else Mark.PLAIN),
        (f" {number(u.exhaust_c, 8, 0, '°C', old=old)}", Mark.OLD if old else Mark.PLAIN),
        (f" {fit(age(u.age_s), 6, right=True)}", Mark.ABNORMAL if old else Mark.QUIET),
        (f"  {u.unable}" if u.unable else "", Mark.QUIET),
    )
