"""Which element draws nothing: a unit's own meter against what its closed stages should draw, phase by phase.

Only a unit with its own meter is compared, and only while its load has been steady for longer than the meter's
refresh. A deficit of one phase that fits one phase of one closed stage, three scans running, names that stage and
phase; dispatch then reckons with what the stage really gives.
"""

from benchctl.core.decision import Event, Settings
from benchctl.core.levels import phase_kw
from benchctl.core.profile import Profile
from benchctl.core.seen import Contact, Seen, SeenUnit
from benchctl.core.site import Unit
from benchctl.core.state import State, UnitState

SCANS = 3
FIT = 0.25  # how well a deficit must fit the stage: share of the stage's phase kW
NOISE = 0.03  # share of a phase's kW below which a deficit is noise


def elements(state: State, seen: Seen, settings: Settings, dt_s: float, events: list[Event]) -> None:
    """Compare every unit that can be compared. Works on `state.units`."""
    for index, (u, s, unit) in enumerate(zip(state.units, seen.units, settings.site.units, strict=True)):
        steady = s.load is not None and s.load == u.wanted == u.possible and u.follow_s == 0.0
        u.steady_s = min(u.steady_s + dt_s, 1e6) if steady else 0.0
        if not u.possible or u.steady_s < 2.0 * unit.profile.meter_refresh_s + 1.0:
            continue
        if not unit.profile.stages or s.contact is not Contact.FRESH or s.volts_v is None:
            continue
        found = missing_elements(unit.profile, u, s)
        if found or (u.missing and found is not None):
            s.missing = _remember(index, u, unit, found, events)


def missing_elements(profile: Profile, u: UnitState, s: SeenUnit) -> tuple[tuple[int, int], ...] | None:
    """(stage, phase) pairs that seem to draw nothing now; None when the meter cannot tell."""
    measured = s.reading.electrical.phase_kw
    expected = phase_kw(profile, u.possible, s.ratio, u.health)
    found: list[tuple[int, int]] = []
    for phase in range(3):
        kw = measured[phase]
        if expected[phase] <= 0.0:
            continue
        if kw is None:
            return None
        deficit = expected[phase] - kw
        if deficit <= NOISE * expected[phase]:
            continue
        best: tuple[float, int] | None = None
        for i, stage in enumerate(profile.stages):
            if not u.possible >> i & 1:
                continue
            share = u.health[i][phase] if u.health else 1.0
            draws = stage.phase_kw[phase] * share * s.ratio * s.ratio
            miss = abs(draws - deficit)
            if draws > 0.0 and miss <= FIT * draws and (best is None or miss < best[0]):
                best = (miss, i)
        if best is not None:
            found.append((best[1], phase))
    return tuple(found)


def _remember(index: int, u: UnitState, unit: Unit, found: tuple[tuple[int, int], ...], events: list[Event]) -> int:
    """Count the scans in which each was found; returns how many have now been found often enough."""
    new = 0
    before = {(stage, phase): scans for stage, phase, scans in u.missing}
    kept = [(stage, phase, scans) for (stage, phase), scans in before.items() if scans >= SCANS]
    for stage, phase in found:
        scans = before.get((stage, phase), 0) + 1
        if scans == SCANS:
            new += 1
            set_health(u, unit.profile, stage, phase, 0.0)
            events.append(
                Event(
                    "element",
                    f"{unit.name}: stage {unit.profile.stages[stage].name} phase {'ABC'[phase]} draws nothing",
                    index,
                    data=(("stage", stage + 1), ("phase", "ABC"[phase])),
                )
            )
        kept.append((stage, phase, scans))
    u.missing = tuple(kept)
    return new


def set_health(u: UnitState, profile: Profile, stage: int, phase: int, share: float) -> None:
    """Write what a stage really gives on one phase, as a share of rated, into the unit's health map."""
    health = [list(row) for row in (u.health or tuple((1.0, 1.0, 1.0) for _ in profile.stages))]
    health[stage][phase] = share
    u.health = tuple((row[0], row[1], row[2]) for row in health)
