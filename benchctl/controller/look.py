"""What first contact would ask, answered from what the controller knows already: the wire is not asked twice."""

from typing import Any

from benchctl.core.decision import Frame
from benchctl.core.levels import load_kw
from benchctl.core.site import Site


def look_rows(site: Site, frame: Frame | None) -> list[dict[str, Any]]:
    """A row per device, the units first. What has never been heard is None."""
    if frame is None:
        return []
    state = frame.decision.state
    rows: list[dict[str, Any]] = []
    for u, unit in zip(state.units, site.units, strict=True):
        last = u.last
        faults = [f.text for bit, f in enumerate(unit.profile.faults) if last.faults >> bit & 1]
        rows.append(
            {
                "name": unit.name,
                "reached": u.heard and not u.lost,
                "age_s": round(u.age_s, 3) if u.heard else None,
                "serial": u.serial,
                "identity_ok": u.identified,
                "remote": last.remote,
                "load_on": None if last.load is None else last.load > 0,
                "load_kw": None if last.load is None else round(load_kw(unit.profile, last.load, 1.0), 3),
                "found": u.found,
                "faults": faults,
            }
        )
    for kept, instrument in zip(state.instruments, site.instruments, strict=True):
        heard = kept.age_s < 1e9
        rows.append(
            {
                "name": instrument.name,
                "reached": heard and kept.age_s <= site.limits.lost_s,
                "age_s": round(kept.age_s, 3) if heard else None,
                "identity_ok": kept.last.identity_ok if heard else None,
            }
        )
    return rows
