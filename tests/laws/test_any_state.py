"""The laws over any state, reachable or not: what the state says of itself is believed, and nothing else."""

from copy import deepcopy
from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings

from benchctl.core import decide as bench
from benchctl.core.command import Verb
from benchctl.core.dispatch import dispatch
from benchctl.core.levels import join, load_kw, lowers
from benchctl.core.reading import Outcome
from benchctl.core.seen import Contact
from benchctl.core.state import Mode
from tests.laws.free import scans
from tests.laws.rules import hand_laws

MANY = settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))


def laws_of_one_scan(scan) -> tuple[str, ...]:  # noqa: C901, PLR0912 - one condition a line, as the laws stand
    """Decide a scan, and say which laws its orders break; no rung is imported for it."""
    settings_, state, inputs = scan
    decision = bench.decide(state, inputs, settings_)
    site, after = settings_.site, decision.state
    broken = []
    total_kw = rise_kw = 0.0
    for i, (o, u, s, r, unit) in enumerate(
        zip(decision.orders.units, after.units, decision.seen.units, inputs.units, site.units, strict=True)
    ):
        profile, before = unit.profile, state.units[i]
        if after.dropped and (o.keep or o.raise_to is not None):
            broken.append("1: kept or closed in a drop")
        drop_now = any(c.verb is Verb.DROP for c in inputs.commands) and after.dropped
        if drop_now and not (r.outcome.tells and r.load == 0 and not u.possible) and (o.silent or not o.lower):
            broken.append("1: no opening in a drop")
        if o.raise_to is not None:
            wrong = {
                "charge": not after.charge,
                "trip": after.trip is not None,
                "silent": o.silent,
                "answer": not r.outcome.tells,
                "load": r.load is None,
                "air": r.airflow is not True or not u.proven or not u.seen_still,
                "fan": not u.fan,
                "fan read off": r.fan_on is False,
                "joined": not u.joined,
                "out": u.out,
                "local": r.remote is False,
                "stop": r.emergency_stop is True,
                "volts": s.volts_v is None or s.volts_v / profile.rated_v > profile.highest_v_ratio,
                "lost load": u.foreign or u.fell or u.restarted,
                "swapped": u.swapped,
                "identity": u.identified is not True,
                "emptied": not u.emptied,
                "withdrawn": u.fan_withdrawn,
                "mode": after.mode in (Mode.UNLOAD, Mode.COOL, Mode.DONE),
                "gap": inputs.dt_s > 2.0 and after.mode is Mode.RUN,
                "held": bool(after.held),
                "unclosed": bool(profile.stages and o.raise_to & u.unclosed & ~before.wanted),
                "follow": u.follow_s > 0.0,
                "exchange": not lowers(profile, o.keep, o.raise_to),
            }
            broken += [f"2: closed in spite of {name}" for name, is_so in wrong.items() if is_so]
            rise_kw += load_kw(profile, join(profile, u.possible, o.raise_to), s.ratio) - load_kw(
                profile, u.possible, s.ratio
            )
        undecided = u.found and not u.out and not after.dropped
        if undecided and not o.silent:
            broken.append("2: written to although nobody has decided about load found on")
        if u.found and u.joined and not before.joined:
            broken.append("2: joined although nobody has decided about load found on")
        if before.found and not u.found and r.load != 0 and not (after.charge or after.dropped):
            broken.append("2: load found on decided about without charge")
        if after.charge and u.heard and not u.fan_withdrawn and profile.fan.controllable and not undecided:
            if u.possible and o.fan is not True:
                broken.append("3: may have load, fan not on")
            if u.hot and before.fan and before.hot and o.fan is not True:
                broken.append("3: hot, fan taken off")
        if not after.charge and not o.silent and (o.fan is not None or o.feed or (o.lower and not after.dropped)):
            broken.append("2: written to without charge")
        if (
            before.hot
            and not u.hot
            and not any(c.verb is Verb.OVERRIDE and c.unit == i and c.why for c in inputs.commands)
        ):
            paid = (
                r.outcome.tells
                and r.airflow is True
                and r.load == 0
                and before.fan
                and inputs.dt_s >= min(before.owed_s, 1e-9)
            )
            if not paid or before.owed_s > inputs.dt_s + 1e-9 or before.near_s > inputs.dt_s + 1e-9:
                broken.append("3: debt gone without being paid")
        if s.contact in (Contact.STALE, Contact.LOST) and u.possible and not u.hot:
            broken.append("7: an unknown unit taken for cold")
        total_kw += load_kw(profile, join(profile, u.possible, o.raise_to or 0), s.ratio)
    if rise_kw > 0.0:
        limits = site.limits
        taken_kw = max(0.0, decision.seen.site_kw) if decision.seen.site_kw is not None else site.site_load_reserve_kw
        if total_kw > site.nameplate.power_kw * limits.upper_percent / 100.0 - taken_kw + 1e-6:
            broken.append(f"4: {total_kw} kW may be closed")
    if (
        state.trip is not None
        and after.trip is not None
        and not any(c.verb is Verb.RESET for c in inputs.commands)
        and after.trip != state.trip
    ):
        broken.append("5: the first cause changed")
    broken += hand_laws(after, inputs, decision.orders, site)
    return tuple(broken)


@MANY
@given(scans())
def test_no_orders_break_a_law_whatever_the_state(scan):
    assert laws_of_one_scan(scan) == ()


@MANY
@given(scans())
def test_deciding_changes_nothing_that_it_is_given_and_decides_the_same_again(scan):
    settings_, state, inputs = scan
    kept = deepcopy(state)
    first = bench.decide(state, inputs, settings_)
    assert state == kept
    given_on = deepcopy(first.state)
    second = bench.decide(state, inputs, settings_)
    assert (first.state, first.orders, first.events) == (second.state, second.orders, second.events)
    bench.decide(first.state, replace(inputs, commands=()), settings_)
    assert first.state == given_on


@MANY
@given(scans())
def test_when_a_scan_happens_does_not_matter(scan):
    settings_, state, inputs = scan
    now, later = (
        bench.decide(state, inputs, settings_),
        bench.decide(state, replace(inputs, now_s=inputs.now_s + 1e7), settings_),
    )
    assert (now.state, now.orders, now.events) == (later.state, later.orders, later.events)


@MANY
@given(scans())
def test_orders_are_never_more_than_was_wished_except_fans(scan):
    settings_, state, inputs = scan
    wishes: list[list[int]] = []

    def noted(*args):
        wishes.append(dispatch(*args))
        return list(wishes[0])

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(bench, "dispatch", noted)
        decision = bench.decide(state, inputs, settings_)
    for o, wish, unit, u in zip(
        decision.orders.units, wishes[0], settings_.site.units, decision.state.units, strict=True
    ):
        asked = wish if o.raise_to is not None else u.wanted
        assert lowers(unit.profile, o.keep if o.raise_to is None else o.raise_to, join(unit.profile, wish, asked))
        assert lowers(unit.profile, u.wanted, wish)


@MANY
@given(scans())
def test_silence_everywhere_closes_nothing(scan):
    settings_, state, inputs = scan
    mute = replace(inputs, units=tuple(type(r)(Outcome.SILENT) for r in inputs.units))
    assert all(o.raise_to is None for o in bench.decide(state, mute, settings_).orders.units)
