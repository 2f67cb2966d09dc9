"""What happens if this computer stops: a sentence for each kind of unit, from its profile."""

from benchctl.core.profile import FanSupply, Profile, Watchdog
from benchctl.core.site import Site

RETURNS = {
    "stays off": "when contact returns it stays off until it is asked again",
    "resumes": "when contact returns it takes its old load up again by itself",
}
ATTENDED_ONLY = "these banks keep the load if this computer stops: attended operation only"


def names_of(names: list[str]) -> str:
    """Names of units in a sentence; many of them as a span."""
    if len(names) > 4:
        return f"{names[0]} to {names[-1]} ({len(names)} units)"
    return ", ".join(names)


def _watchdog(watchdog: Watchdog) -> str:
    fed = {"any request": "any request feeds it", "any write": "any write feeds it"}.get(
        watchdog.fed_by, f"a register feeds it, every {watchdog.feed_every_s:g} s"
    )
    comes_back = RETURNS.get(watchdog.on_return, f"when contact returns it {watchdog.on_return}")
    return (
        f"the unit's own watchdog drops its load {watchdog.time_s:g} s after the last contact ({fed}); the fans "
        f"run on; {comes_back}"
    )


def _fans(profile: Profile) -> str:
    if profile.fan.supply is FanSupply.SEPARATE:
        return "fans have a supply of their own"
    return "fans are fed by the source under test: it must run until the units are cool"


def stops(site: Site) -> tuple[str, ...]:
    """One sentence for each profile in the chain."""
    kinds: dict[tuple[Watchdog | None, FanSupply], list[str]] = {}
    profiles: dict[tuple[Watchdog | None, FanSupply], Profile] = {}
    for unit in site.units:
        key = (unit.profile.watchdog, unit.profile.fan.supply)
        kinds.setdefault(key, []).append(unit.name)
        profiles[key] = unit.profile
    told = []
    for key, names in kinds.items():
        watchdog = profiles[key].watchdog
        what = ATTENDED_ONLY if watchdog is None else _watchdog(watchdog)
        told.append(f"{names_of(names)}: {what}; {_fans(profiles[key])}")
    return tuple(told)
