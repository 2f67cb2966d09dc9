"""Seeded bugs: each swaps or weakens one piece of the core, and the laws' scripts must notice it.

A mutant is a function that patches modules through `patch(module, name, value)`.
"""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from benchctl.core import (
    advance,
    alarms,
    attendance,
    by_hand,
    charge,
    conditions,
    cooldown,
    course,
    decide,
    dispatch,
    guard,
    interlocks,
    obey,
    perceive,
    prompts,
)
from benchctl.core.command import Command, Verb
from benchctl.core.orders import Orders, UnitOrders
from benchctl.core.state import Mode

Patch = Callable[[Any, str, Any], None]


def interlocks_forgotten(patch: Patch) -> None:
    patch(decide, "interlocks", lambda *a: None)


def guard_before_all(patch: Patch) -> None:
    def trusting(state, seen, settings, wish, dt_s):
        orders = []
        for u, new in zip(state.units, wish, strict=True):
            rising = bool(new & ~u.wanted)
            orders.append(UnitOrders(u.wanted & new, new if rising else None, u.fan, lower=bool(u.possible & ~new)))
            u.wanted, u.sent = new, new if rising else None
        return Orders(tuple(orders))

    patch(decide, "guard", trusting)


def fans_not_asked_for(patch: Patch) -> None:
    patch(cooldown, "_fans", lambda *a: None)


def air_taken_for_granted(patch: Patch) -> None:
    def granted(u, reading, dt_s):
        u.proven = u.seen_still = True

    patch(perceive, "_air", granted)


def air_needs_no_still_air_before(patch: Patch) -> None:
    def hasty(u, reading, dt_s):
        u.proven = reading.airflow is True

    patch(perceive, "_air", hasty)


def possible_forgotten(patch: Patch) -> None:
    through = perceive.perceive

    def forgetful(state, inputs, settings, events):
        seen = through(state, inputs, settings, events)
        for u, s in zip(state.units, seen.units, strict=True):
            if s.load is None:
                u.possible = 0
        return seen

    patch(decide, "perceive", forgetful)


def silent_load_left_out_of_limits(patch: Patch) -> None:
    through = perceive.perceive

    def blind(state, inputs, settings, events):
        seen = through(state, inputs, settings, events)
        for u, s in zip(state.units, seen.units, strict=True):
            if s.load is None:
                seen.possible_kw, s.possible_kw = seen.possible_kw - s.possible_kw, 0.0
                u.possible = 0
        return seen

    patch(decide, "perceive", blind)


def stages_switched_by_hand_made_up_for(patch: Patch) -> None:
    def chosen(state, seen, settings, wish):
        if state.by_hand and any(s.switched is not None for s in seen.units):
            return by_hand.keep(state, seen, settings, wish)
        full = [
            w if not s.load else unit.profile.full_load
            for w, s, unit in zip(wish, seen.units, settings.site.units, strict=True)
        ]
        return full if state.target_kw > 50.0 else wish

    patch(dispatch, "keep", chosen)


def a_switch_repeated_until_it_is_followed(patch: Patch) -> None:
    asked: dict[int, int] = {}

    def again(state, seen, settings, wish):
        asked.update({i: s.switched for i, s in enumerate(seen.units) if s.switched is not None})
        return [asked.get(i, w) for i, w in enumerate(wish)]

    patch(dispatch, "keep", again)


def limits_not_kept(patch: Patch) -> None:
    patch(guard, "_take_back", lambda *a: 0.0)
    patch(dispatch, "ceiling_kw", lambda *a: 1e6)
    patch(obey, "ceiling_kw", lambda *a: 1e6)
    patch(guard, "_lower_to_limit", lambda *a: None)


def largest_block_ignored(patch: Patch) -> None:
    patch(dispatch, "block_kw", lambda settings: 1e6)


def closings_sent_again(patch: Patch) -> None:
    through = guard._order

    def again(state, u, s, unit, new, old, dt_s):
        o = through(state, u, s, unit, new, old, dt_s)
        return replace(o, raise_to=new) if u.follow_s > 0.0 and new else o

    patch(guard, "_order", again)


def debt_paid_without_air(patch: Patch) -> None:
    through = cooldown.cooldown

    def generous(state, seen, settings, dt_s):
        through(state, seen, settings, dt_s)
        for u in state.units:
            u.owed_s = max(0.0, u.owed_s - dt_s)
            u.hot = u.hot and (u.owed_s > 0.0 or bool(u.possible))

    patch(decide, "cooldown", generous)


def warm_exhaust_taken_for_cool(patch: Patch) -> None:
    patch(cooldown, "near", lambda *a: True)


def reset_starts(patch: Patch) -> None:
    def eager(state, command, seen, settings):
        state.trip, state.dropped, state.mode, state.target_kw = None, False, Mode.IDLE, 120.0
        for u in state.units:
            u.joined, u.out, u.fell = True, False, False
        return ""

    patch(obey, "VERBS", {**obey.VERBS, Verb.RESET: eager, Verb.DROP: lambda *a: ""})


def drop_obeyed_a_scan_later(patch: Patch) -> None:
    def late(state, command, seen, settings):
        course.unload(state, seen, settings, "dropped", fast=True)
        return ""

    patch(obey, "VERBS", {**obey.VERBS, Verb.DROP: late})


def drop_not_urgent(patch: Patch) -> None:
    through = guard.guard
    patch(decide, "guard", lambda *a: replace(through(*a), urgent=False))


def commands_after_interlocks(patch: Patch) -> None:
    kept: list[Any] = []
    through_obey, through_interlocks = obey.obey, interlocks.interlocks

    def later(state, commands, seen, settings, events, *_):
        kept[:] = [commands]

    def both(state, seen, settings, events):
        through_interlocks(state, seen, settings, events)
        through_obey(state, kept[0], seen, settings, events)
        for u in state.units:
            u.out = u.out and not any(c.verb is Verb.RESET for c in kept[0])
        if any(c.verb is Verb.RESET for c in kept[0]):
            state.trip, state.dropped = None, False

    patch(decide, "obey", later)
    patch(decide, "interlocks", both)


def returned_unit_joins_by_itself(patch: Patch) -> None:
    through = perceive.perceive

    def welcoming(state, inputs, settings, events):
        for u, r in zip(state.units, inputs.units, strict=True):
            if u.lost and r.outcome.tells:
                u.lost, u.joined, u.emptied = False, True, True
        return through(state, inputs, settings, events)

    patch(decide, "perceive", welcoming)


def load_fell_unnoticed(patch: Patch) -> None:
    through = alarms.alarms

    def deaf(state, seen, settings, dt_s, events):
        for u in state.units:
            u.fell = u.foreign = False
        through(state, seen, settings, dt_s, events)

    patch(decide, "alarms", deaf)
    patch(perceive, "unable", lambda u, s, unit: "")


def written_to_before_charge(patch: Patch) -> None:
    through = guard._order

    def forward(state, u, s, unit, new, old, dt_s):
        return replace(through(state, u, s, unit, new, old, dt_s), silent=False, fan=False)

    patch(guard, "_order", forward)


def fans_come_back_after_an_emergency_stop(patch: Patch) -> None:
    through = guard._allowed

    def early(state, u, s, unit, new):
        u.fan_withdrawn = False
        return through(state, u, s, unit, new)

    patch(guard, "_allowed", early)
    patch(conditions, "known", lambda *a: lambda now: False)
    patch(decide, "interlocks", lambda *a: None)


def gaps_catch_up(patch: Patch) -> None:
    patch(perceive, "gap_limit_s", lambda settings: 1e9)
    patch(advance, "MAX_STEP_S", 1e9)


def silence_goes_on(patch: Patch) -> None:
    patch(prompts, "BY_KIND", {k: replace(row, by_itself=True) for k, row in prompts.BY_KIND.items()})


def attendance_ignored(patch: Patch) -> None:
    patch(decide, "attendance", lambda *a: None)


def a_screen_taken_for_a_person(patch: Patch) -> None:
    through = attendance.attendance

    def trusting(state, seen, inputs, settings, events):
        sign = (*inputs.commands, Command(Verb.CHECK_IN))
        there = replace(inputs, commands=sign) if inputs.attached else inputs
        through(state, seen, there, settings, events)

    patch(decide, "attendance", trusting)


def found_load_opened_before_a_decision(patch: Patch) -> None:
    patch(guard, "undecided", lambda state, u: False)


def found_load_adopted_without_charge(patch: Patch) -> None:
    def eager(state, command, seen, settings):
        state.charge = command.who
        course.adopt(state, seen, settings)
        return ""

    patch(obey, "VERBS", {**obey.VERBS, Verb.ADOPT: eager})


def found_load_joined_with_the_charge(patch: Patch) -> None:
    through = perceive.perceive

    def blind(state, inputs, settings, events):
        seen = through(state, inputs, settings, events)
        for u in state.units:
            u.found = False
        return seen

    patch(decide, "perceive", blind)
    patch(charge, "give", lambda state, command: setattr(state, "charge", command.who))


MUTANTS: tuple[Callable[[Patch], None], ...] = (
    interlocks_forgotten,
    guard_before_all,
    fans_not_asked_for,
    air_taken_for_granted,
    air_needs_no_still_air_before,
    possible_forgotten,
    silent_load_left_out_of_limits,
    stages_switched_by_hand_made_up_for,
    a_switch_repeated_until_it_is_followed,
    limits_not_kept,
    largest_block_ignored,
    closings_sent_again,
    debt_paid_without_air,
    warm_exhaust_taken_for_cool,
    reset_starts,
    drop_obeyed_a_scan_later,
    drop_not_urgent,
    commands_after_interlocks,
    returned_unit_joins_by_itself,
    load_fell_unnoticed,
    written_to_before_charge,
    fans_come_back_after_an_emergency_stop,
    gaps_catch_up,
    silence_goes_on,
    attendance_ignored,
    a_screen_taken_for_a_person,
    found_load_opened_before_a_decision,
    found_load_adopted_without_charge,
    found_load_joined_with_the_charge,
)
