"""Why no stage of a unit may close now, in the order of what to mend first. The guard insists on every one of them."""

from benchctl.core.profile import Profile
from benchctl.core.seen import Contact, SeenUnit
from benchctl.core.site import Unit
from benchctl.core.state import UnitState

UNPROVEN = "airflow is not proven"  # all that a resting unit lacks


def unable(u: UnitState, s: SeenUnit, unit: Unit) -> str:
    """The first reason; empty when the unit may be loaded."""
    profile = unit.profile
    not_ready = _stranger(u, s) or _not_ours(u, s, profile) or _contactors(u, s)
    return not_ready or _air(u, s) or _heat_and_volts(s, profile)


def _stranger(u: UnitState, s: SeenUnit) -> str:
    if s.contact is not Contact.FRESH:
        return "not heard in this scan"
    if u.swapped:
        return "another unit answers in its place"
    if u.identified is False:
        return "known values do not read as the profile says"
    return "" if u.identified else "not identified yet"


def _not_ours(u: UnitState, s: SeenUnit, profile: Profile) -> str:
    if s.reading.emergency_stop is True:
        return "its emergency stop is operated"
    if s.reading.remote is False or (s.reading.remote is None and "remote" in profile.reports):
        return "not in remote"
    if not u.joined:
        return "has not joined"
    if u.out:
        return "taken off by an interlock"
    return "its load changed without our order" if u.foreign or u.fell or u.restarted else ""


def _contactors(u: UnitState, s: SeenUnit) -> str:
    if s.load is None:
        return "its load is not read back"
    if not u.emptied:
        return "it was not seen without load yet"
    return "a contactor is stuck closed" if u.welded else ""


def lacks_only_air(u: UnitState, s: SeenUnit, unit: Unit) -> bool:
    """True when all that a unit lacks is air, and its fans have not had the time to give it."""
    waits = s.unable == UNPROVEN and not u.stuck_air and u.fan_on_s <= unit.profile.fan.proof_s
    return waits and not _heat_and_volts(s, unit.profile)


def _air(u: UnitState, s: SeenUnit) -> str:
    if s.reading.fan_supply is False:
        return "no fan supply"
    if u.fan_withdrawn:
        return "its fans wait to be confirmed"
    return "" if u.proven else UNPROVEN


def _heat_and_volts(s: SeenUnit, profile: Profile) -> str:
    if s.reading.exhaust_c is None and "exhaust_c" in profile.reports:
        return "its exhaust temperature is not known"
    if s.volts_v is None:
        return "its volts are not known"
    return "its volts are above its rating" if s.ratio > profile.highest_v_ratio else ""
