"""A draft as the text of a program's file, with the reasons as comments."""

import json
import re
import textwrap
from collections.abc import Iterator

from benchctl.core.criteria import span
from benchctl.core.program import Block, Hold, LoadIs, Ramp, Segment, Starts, Target
from benchctl.core.ruleset import Step
from benchctl.planning.draft import Draft
from benchctl.planning.judge_lines import mark
from benchctl.planning.margins import SAG_PERCENT

WIDTH = 118
BARE = re.compile(r"[A-Za-z][A-Za-z0-9 ]*( %)?|[0-9.]+ %")  # a text that needs no quotes
OWN = {
    LoadIs.CHAIN: "Targets count the chain alone: the site's own load ({kw} kW at most) comes on top, so no minimum "
    "hangs on it.",
    LoadIs.SOURCE_TOTAL: "Targets count the source's total: when the site's own load ({kw} kW at most) goes off, the "
    "source falls by as much until the chain has followed; take that load off, or keep it steady, where a minimum must "
    "hold at every scan.",
}
OFF = (
    "The site's own load (up to {kw} kW) is to be off the source, because more can be shown without it: before the "
    "start give it back to its normal supply, and see on the meter at the source that it is gone. Where it has to stay "
    "on, take the line site_load away, and let benchctl plan say what cannot be shown then."
)
UNITY = (
    "The load is resistors: at unity power factor neither the rated current of an alternator rated at a lower one nor "
    "its dip and regulation of volts are shown."
)


def text(draft: Draft) -> str:
    """The file. It reads back as the draft's program."""
    lines = [*_top(draft), *_head(draft), "", "segments:"]
    for part in draft.parts:
        for said in part.says:
            lines += _comment(said, "  ")
        lines.append(f"  - {_segment(part.segment)}")
    return "\n".join(lines) + "\n"


def _top(draft: Draft) -> Iterator[str]:
    rules, plate = draft.rules, draft.site.nameplate
    yield from _comment(
        f"A program for the rule set {rules.name} at the site {draft.site.name} ({plate.power_kw:g} kW, "
        f"{plate.volts:g} V, {plate.hertz:g} Hz), drafted by benchctl new. Go on editing, then: benchctl plan "
        f"THIS_FILE --site {draft.site.name} --rule-set {rules.name}"
    )
    yield "#"
    yield from _comment(f"{rules.document}, edition: {rules.edition}. {rules.title}.")
    yield from _comment(f"Edition adopted at the site: {rules.adopted or 'not stated in the rule set'}.")
    for note in rules.notes:
        yield from _comment(f"Note: {note}")
    own_kw = draft.site.site_load_reserve_kw
    if own_kw > 0.0:
        said = OFF if draft.program.site_load_off else OWN[draft.program.load_is]
        yield from _comment(said.format(kw=f"{own_kw:g}"))
    steps = [rule for rule in rules.rules if isinstance(rule, Step)]
    if steps:
        yield "#"
        yield from _comment(
            "What load alone cannot show. Record each as a remark that names its key, with its seconds:"
        )
        for step in steps:
            yield from _comment(f"  {step.key}: {_asked(step)} [{mark(step.origin)}]", hang="    ")
    yield "#"
    yield from _comment(UNITY)
    yield from _comment(
        f"Minima are set with a margin for volts {SAG_PERCENT:g} % low where there is room, holds a minute longer than "
        "asked (common practice)."
    )


def _asked(step: Step) -> str:
    most = f", at most {span(step.within_s)}" if step.within_s is not None else ""
    least = f", at least {span(step.at_least_s)}" if step.at_least_s is not None else ""
    return step.text + most + least


def _head(draft: Draft) -> Iterator[str]:
    program = draft.program
    yield f"title: {json.dumps(program.title, ensure_ascii=False)}"
    yield f"rule_sets: [{', '.join(json.dumps(name, ensure_ascii=False) for name in program.rule_sets)}]"
    yield f"load_is: {program.load_is.value}"
    if program.site_load_off:
        yield "site_load: off"
    yield f"rounding: {program.rounding.value}"
    yield f"trim: {str(program.trim).lower()}"
    if program.source_cooldown_s is not None:
        yield f"source_cooldown: {span(program.source_cooldown_s)}"
    yield f"reading_interval: {span(program.reading_interval_s)}"
    if program.readings:
        yield f"readings: [{', '.join(program.readings)}]"


def _segment(segment: Segment) -> str:
    match segment:
        case Ramp():
            return f"ramp: {{to: {_target(segment.to)}, over: {span(segment.over_s)}}}"
        case Block():
            declared = ", declared_rejection: true" if segment.declared_rejection else ""
            return f"block: {{to: {_target(segment.to)}{declared}{_label(segment.label)}}}"
        case Hold():
            at = f", at: {_target(segment.at)}" if segment.at is not None else ""
            starts = ", starts: in band" if segment.starts is Starts.IN_BAND else ""
            continuous = ", continuous: true" if segment.continuous else ""
            return f"hold: {{for: {span(segment.hold_s)}{at}{starts}{continuous}{_label(segment.label)}}}"
    raise AssertionError(f"no draft has a {type(segment).__name__}")


def _target(target: Target) -> str:
    return f"{target.value:.10g} %" if target.percent else f"{target.value:.10g} kW"


def _label(label: str) -> str:
    shown = label if BARE.fullmatch(label) else json.dumps(label, ensure_ascii=False)
    return f", label: {shown}" if label else ""


def _comment(said: str, indent: str = "", hang: str = "") -> list[str]:
    start = f"{indent}# "
    return textwrap.wrap(
        said, WIDTH, initial_indent=start, subsequent_indent=start + hang, break_on_hyphens=False, drop_whitespace=True
    )
