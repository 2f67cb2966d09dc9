"""Steps of the operator that a run with load alone cannot show: they need an entry in the record that names them.

An entry is a remark such as `cold start: 8.2 s`: the step's key, and its seconds where the rule asks for a time.
"""

import re

from benchctl.assessment.case import Case
from benchctl.assessment.trail import Entry
from benchctl.assessment.verdict import Input, Outcome, Verdict, Working
from benchctl.assessment.words import length
from benchctl.core.ruleset import Step

_SECONDS = re.compile(r"(?<![\w.])([0-9]+(?:\.[0-9]+)?) *(s|sec|seconds|min|minutes|h|hours)\b")
_EACH = {"m": 60.0, "h": 3600.0, "s": 1.0}


def step(case: Case, rule: Step) -> Verdict:
    """Is there an entry for it, and did it take the time that it may?"""
    entry = entry_of(case.trail.entries, rule.key)
    asked = " and ".join(
        part
        for part in (
            f"within {length(rule.within_s)}" if rule.within_s is not None else "",
            f"at least {length(rule.at_least_s)}" if rule.at_least_s is not None else "",
        )
        if part
    )
    text = f"{rule.text} ({asked})" if asked else rule.text
    if entry is None:
        why = f"no entry in the record names it; a remark such as “{rule.key}: {_such(rule)}” does"
        return Verdict(rule.key, text, Outcome.NOT_DEMONSTRATED, why, rule.origin)
    took_s = seconds_of(entry)
    inputs = (Input("entry", entry.text, at_s=entry.at_s), Input("by", entry.who))
    working = Working("time that was entered", took_s, "s", "as the operator entered it; not measured", inputs)
    said = f"entered by {entry.who or 'nobody named'}: {entry.text}"
    if asked and took_s is None:
        outcome, said = Outcome.NOT_DEMONSTRATED, f"{said}; no time is in it, {asked} is asked"
    elif took_s is not None and not (rule.at_least_s or 0.0) <= took_s <= (
        took_s if rule.within_s is None else rule.within_s
    ):
        outcome, said = Outcome.NOT_MET, f"{said}; {asked} is asked"
    else:
        outcome = Outcome.SHOWN
    return Verdict(rule.key, text, outcome, said, rule.origin, entry.at_s, entry.at_s, (working,))


def _such(rule: Step) -> str:
    """What an entry for the step may say: a time that fits, where one is asked."""
    if rule.at_least_s is not None:
        return length(rule.at_least_s if rule.within_s is not None else rule.at_least_s + 60.0)
    return "done" if rule.within_s is None else f"{0.82 * rule.within_s:g} s"


def entry_of(entries: tuple[Entry, ...], key: str) -> Entry | None:
    """The last entry that begins with the step's key; `_`, `-` and spaces are the same."""
    wanted = _plain(key)
    found = [e for e in entries if dict(e.data).get("step") == key or _names(_plain(e.text), wanted)]
    return found[-1] if found else None


def _names(text: str, key: str) -> bool:
    rest = text.removeprefix("step ").removeprefix(key) if text.removeprefix("step ").startswith(key) else None
    return rest is not None and (not rest or not rest[0].isalnum())


def _plain(text: str) -> str:
    return " ".join(text.lower().replace("_", " ").replace("-", " ").split())


def seconds_of(entry: Entry) -> float | None:
    """The seconds that an entry tells, or None."""
    told = dict(entry.data).get("seconds")
    if isinstance(told, int | float):
        return float(told)
    found = _SECONDS.search(entry.text.lower())
    if found is None:
        return None
    return float(found[1]) * _EACH[found[2][0]]
