"""Who is there, and load found on, as the observer sees it: from inputs and orders alone.

Load that is on at the first contact, or when charge is first taken, is somebody else's until a person has decided, with
charge, or the site's time is over: until then nothing is written to its unit, unless something is wrong with the unit
or the source. Load is not kept on much longer than the site says when no client is attached, or no person gives a sign.
"""

from dataclasses import dataclass, replace

from benchctl.core.command import Command, Verb
from benchctl.core.inputs import Inputs
from benchctl.core.orders import UnitOrders
from benchctl.core.reading import Maybe, UnitReading
from benchctl.core.site import Site, Unit, WhenLost
from tests.laws.rules import Watched

WARM_C = 60.0  # no exhaust so cool is a reason to take load off


@dataclass(frozen=True, slots=True)
class There:
    """What is remembered of people. Times saturate where a law is broken."""

    charge: bool = False
    unattended: bool = False
    alone_s: float = 0.0  # nobody attached
    quiet_s: float = 0.0  # no sign of a person
    found_s: Maybe = None  # load found on is undecided
    calm: bool = True  # nothing of the source or a unit has asked for anything since load was found on


NOBODY_YET = There()


def given(command: Command, site: Site) -> bool:
    """It is fresh, and of units that there are."""
    return command.age_s <= 2.0 and (command.unit is None or 0 <= command.unit < len(site.units))


def decided(
    seen: list[Watched], there: There, inputs: Inputs, site: Site, *, dropped: bool, gap: bool
) -> tuple[list[Watched], There]:
    """What is found and what has been decided, by commands and by time; a hole in time is none."""
    dt_s = 0.0 if gap else inputs.dt_s
    for c in inputs.commands:
        takes_off = c.verb is Verb.UNLOAD or (c.verb is Verb.ANSWER and c.text == "no" and given(c, site))
        if (c.verb is Verb.TAKE_CHARGE and given(c, site) and c.who) or (
            takes_off and c.who and any(w.may for w in seen)
        ):
            if not there.charge:
                seen = [replace(w, found=w.found or w.may != 0) for w in seen]
            declared = c.text == "unattended" and c.verb is Verb.TAKE_CHARGE
            if not declared or site.attendance.unattended:
                there = replace(there, charge=True, unattended=there.unattended if takes_off else declared)
        adopts = given(c, site) and (c.verb is Verb.ADOPT or (c.verb is Verb.ANSWER and c.text == "yes"))
        if there.charge and (takes_off or adopts):
            seen = [_ours(w) for w in seen]
    if dropped or not any(w.found for w in seen):
        return seen, replace(there, found_s=None, calm=True)
    limit_s = site.attendance.console_lost_s
    found_s = 0.0 if there.found_s is None else min(there.found_s + dt_s, limit_s)
    if found_s >= limit_s:
        return [_ours(w) for w in seen], replace(there, charge=True, found_s=None, calm=True)
    return seen, replace(there, found_s=found_s, calm=there.calm and _calm(inputs, site))


def _ours(w: Watched) -> Watched:
    return replace(w, found=False, joined=True, wanted=w.may) if w.found else w


def well(w: Watched, reading: UnitReading, unit: Unit) -> bool:
    """Nothing that it tells is a reason to take its load off."""
    volts = [v for v in reading.electrical.volts_ll if v is not None]
    return (
        w.well
        and reading.airflow is True
        and reading.fan_supply is not False
        and reading.emergency_stop is False
        and reading.identity_ok is not False
        and reading.serial in (None, "S")
        and not reading.faults
        and (reading.exhaust_c is None or reading.exhaust_c <= WARM_C)
        and all(v <= unit.profile.rated_v * 1.04 for v in volts)
    )


def _calm(inputs: Inputs, site: Site) -> bool:
    """The source is as it should be, as far as anybody tells."""
    plate = site.nameplate
    for r in inputs.instruments:
        e = r.electrical
        known = [v for v in e.volts_ll if v is not None]
        wrong = any(abs(v / plate.volts - 1.0) > 0.04 for v in known) or r.site_needs_set is True
        if wrong or (e.hertz is not None and abs(e.hertz / plate.hertz - 1.0) > 0.02) or (known and e.hertz is None):
            return False
        if e.power_kw is not None and e.power_kw > plate.power_kw:
            return False
    told = [r for r in inputs.units if r.outcome.tells]
    if any(r.site_needs_set is True or r.emergency_stop is True or r.faults for r in told):
        return False
    return len(told) == len(inputs.units) or site.when_lost is not WhenLost.UNLOAD


def found_laws(w: Watched, there: There, o: UnitOrders) -> list[str]:
    """Nothing is written to a unit about whose load nobody has decided, as long as all is well."""
    if w.found and w.well and there.calm and not o.silent:
        return ["2: written to although nobody has decided about load found on"]
    return []


def grace_s(site: Site, dt_s: float) -> float:
    """The longest time from the decision to unload until every opening is written: common practice, no source."""
    limits = site.limits
    return (100.0 / limits.unload_step_percent + 2.0) * limits.unload_step_s + 4.0 * dt_s


def waited(there: There, inputs: Inputs, seen: list[Watched], site: Site, gap: bool) -> There:
    """The clocks of those who are not there: they run while charge is taken and load may be on."""
    asked = inputs.attached is not None and there.charge and not there.unattended
    if not asked or not any(w.may or w.wanted for w in seen):
        return replace(there, alone_s=0.0, quiet_s=0.0)
    terms, grace = site.attendance, grace_s(site, inputs.dt_s)
    dt_s = 0.0 if gap else inputs.dt_s
    most_s = terms.console_lost_s + grace
    alone_s = 0.0 if inputs.attached else min(there.alone_s + dt_s, most_s)
    most_s = terms.check_in_s + terms.unload_after_s + grace
    sign = any(c.who and c.age_s <= 2.0 for c in inputs.commands)
    return replace(there, alone_s=alone_s, quiet_s=0.0 if sign else min(there.quiet_s + dt_s, most_s))


def there_laws(there: There, w: Watched, o: UnitOrders, site: Site, dt_s: float) -> list[str]:
    """Load of ours, in a unit that takes orders, is not kept on for nobody."""
    terms, grace = site.attendance, grace_s(site, dt_s)
    if o.silent or w.found or not w.joined or not (o.keep or o.raise_to):
        return []
    if there.alone_s >= terms.console_lost_s + grace:
        return ["of attendance: load is kept on though nobody is attached"]
    if there.quiet_s >= terms.check_in_s + terms.unload_after_s + grace:
        return ["of attendance: load is kept on though nobody gives a sign"]
    return []
