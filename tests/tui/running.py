"""An invented program for tests of its page: its plan as a run host tells it, and pictures of it under way."""

import dataclasses
from typing import Any

from benchctl.tui.view.course import polyline
from benchctl.tui.view.picture import Page, Picture
from tests.tui.pictures import leg, picture

LEGS: tuple[tuple[str, str, float, float, float, float], ...] = (  # kind, label, start, length, from kW, to kW
    ("ramp", "", 0.0, 60.0, 0.0, 100.0),
    ("hold", "warming up", 60.0, 240.0, 100.0, 100.0),
    ("block", "", 300.0, 0.0, 100.0, 200.0),
    ("hold", "", 300.0, 120.0, 200.0, 200.0),
    ("wait", "", 420.0, 0.0, 200.0, 200.0),
    ("ramp", "", 420.0, 60.0, 200.0, 0.0),
)


def planned(**given: Any) -> dict[str, Any]:
    """Eight minutes to 200 kW in six legs, of which the stages give 98 %."""
    legs = [
        {
            "number": i, "segment": i, "kind": kind, "label": label, "line": 10 + i, "start_s": start_s,
            "length_s": length_s, "wait_s": 300.0 if kind == "wait" else 0.0, "from_kw": from_kw,
            "target_kw": to_kw, "asked_kw": to_kw, "given_kw": 0.98 * to_kw,
            "side": "below" if to_kw else "exact", "short": False, "source_kw": to_kw + 45.0,
            "amps": [to_kw * 1.443] * 3, "prompt": "Any leak?" if kind == "wait" else "",
        }
        for i, (kind, label, start_s, length_s, from_kw, to_kw) in enumerate(LEGS, 1)
    ]  # fmt: skip
    corners = [(0.0, 0.0), (60.0, 100.0), (300.0, 100.0), (300.0, 200.0), (420.0, 200.0), (480.0, 0.0)]
    plan = {
        "name": "stairs", "feasible": True, "refusals": [], "warnings": [], "length_s": 480.0,
        "planned_peak_kw": 200.0, "sha256": "0" * 64, "legs": legs, "findings": [], "cautions": [], "readings": [],
        "graph": [[t, kw, 0.98 * kw] for t, kw in corners],
    }  # fmt: skip
    return {**plan, **given}


def under_way(program_s: float, index: int, **scanned: Any) -> Picture:
    """The program at a moment of its time, as planned, with what came before it in the traces."""
    plan = planned()
    shown = picture(Page.PROGRAM, mode="running", program="stairs", program_s=program_s)
    shown.plan = plan
    assert shown.now is not None
    corners = [(t, a, g) for t, a, g in plan["graph"]]
    count = int(program_s) + 1
    asked, given = (polyline(corners, which, float(count), count) for which in (1, 2))
    for i in range(count):
        kw, stages = asked[i], given[i]
        assert kw is not None
        assert stages is not None
        past: dict[str, Any] = {"chain_target_kw": kw[1], "read_back_kw": stages[1], "delivered_kw": stages[1]}
        shown.traces.feed(dataclasses.replace(shown.now, now_s=1000.0 + i, program_s=float(i), **past))
    row = plan["legs"][index]
    spent_s = program_s - row["start_s"]
    at = leg(
        index=index, count=len(LEGS), segment=row["segment"], kind=row["kind"], label=row["label"],
        from_kw=row["from_kw"], to_kw=row["asked_kw"], spent_s=spent_s, to_go_s=row["length_s"] - spent_s,
    )  # fmt: skip
    told: dict[str, Any] = {"leg": at, "program_to_go_s": 480.0 - program_s} | scanned
    shown.now = dataclasses.replace(shown.now, **told)
    return shown
