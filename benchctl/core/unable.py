"""Why no stage of a unit may close now, in the order of what to mend first. The guard insists on every one of them."""

from benchctl.core.profile import Profile
from benchctl.core.seen import Contact, SeenUnit
from benchctl.core.site import Unit
from benchctl.core.state import UnitState


def unable(u: UnitState, s: SeenUnit, unit: Unit) -> str:
    """The first reason; empty when the unit may be loaded."""
    return _stranger(u, s) or _not_ours(u, s, unit.profile) or _contactors(u, s) or _air_and_volts(u, s, unit.profile)


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


def _air_and_volts(u: UnitState, s: SeenUnit, profile: Profile) -> str:
    if s.reading.fan_supply is False:
        return "no fan supply"
    if u.fan_withdrawn:
        return "its fans wait to be confirmed"
    if not u.proven:
        return "airflow is not proven"
    if s.reading.exhaust_c is None and "exhaust_c" in profile.reports:
        return "its exhaust temperature is not known"
    if s.volts_v is None:
        return "its volts are not known"
    return "its volts are above its rating" if s.ratio > profile.highest_v_ratio else ""
