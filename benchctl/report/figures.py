"""The data that go with a report: every sample as CSV, the verdicts and the facts as JSON, and their hashes."""

import hashlib
import json
import math
from collections.abc import Iterator
from dataclasses import asdict
from enum import Enum
from pathlib import Path
from typing import Any

from benchctl.record.export import BOM, COMMA, POINT, Flavour, cell, line
from benchctl.report.dossier import Dossier
from benchctl.report.typeset import Attached

COLUMNS = (
    "time", "elapsed_s", "target_kw", "delivered_kw", "source_kw", "percent_of_nameplate", "volts_v", "volts_ab",
    "volts_bc", "volts_ca", "amps_a", "amps_b", "amps_c", "hertz", "hottest_c", "events",
)  # fmt: skip
FORMAT = 1


def csv_lines(dossier: Dossier, flavour: Flavour = POINT) -> Iterator[str]:
    """Every scan's figures of chain and source, with what happened in it; the mark of UTF-8 first.

    `benchctl export` has those of every unit and instrument besides.
    """
    run, trail = dossier.run, dossier.trail
    yield BOM + line(COLUMNS, flavour)
    columns = (
        run.target_kw, run.delivered_kw, trail.power_kw, None, trail.volts_v, trail.pair_ab, trail.pair_bc,
        trail.pair_ca, trail.amps_a, trail.amps_b, trail.amps_c, trail.hertz, run.hottest_c,
    )  # fmt: skip
    plate_kw = run.site.nameplate.power_kw
    waiting = iter(run.events)
    event = next(waiting, None)
    separator = flavour.separator
    for i, t in enumerate(run.t_s):
        told: list[str] = []
        while event is not None and event.at_s <= t + 1e-6:
            told.append(event.text)
            event = next(waiting, None)
        cells = [dossier.at(t).isoformat(timespec="milliseconds"), _number(round(t, 6), flavour)]
        for column in columns:
            if column is None:
                kw = trail.power_kw[i] if i < len(trail.power_kw) else math.nan
                cells.append(_number(round(100.0 * kw / plate_kw, 6) if not math.isnan(kw) else math.nan, flavour))
            else:
                cells.append(_number(column[i] if i < len(column) else math.nan, flavour))
        cells.append(cell(" | ".join(told) or None, flavour))
        yield separator.join(cells) + "\r\n"


def _number(value: float, flavour: Flavour) -> str:
    if math.isnan(value):
        return ""
    text = repr(value + 0.0)
    return text if flavour is POINT else text.replace(".", flavour.decimal)


def verdicts(dossier: Dossier) -> str:
    """The verdicts with their whole working."""
    return _json(
        {"format": FORMAT, "record_sha256": dossier.run.sha256, "judgements": [asdict(j) for j in dossier.judgements]}
    )


def facts(dossier: Dossier, others: tuple[Attached, ...]) -> str:
    """What the report is about, and the hashes of what lies beside it in the PDF. The last hash is of this text
    itself with that hash empty."""
    run = dossier.run
    told: dict[str, Any] = {
        "format": FORMAT,
        "record": f"{run.name}.run",
        "record_sha256": run.sha256,
        "sealed": run.sealed,
        "begun": dossier.begun.isoformat(timespec="milliseconds"),
        "meta": run.meta,
        "outcome": run.outcome,
        "nameplate": asdict(run.site.nameplate),
        "papers": dossier.trail.papers,
        "flaws": dossier.trail.flaws,
        "readings": [asdict(noted) for noted in dossier.trail.noted],
        "totals": run.totals,
        "embedded": {a.name: hashlib.sha256(a.text.encode()).hexdigest() for a in others},
        "self_sha256": "",
    }
    told["self_sha256"] = self_hash(told)
    return _json(told)


def self_hash(told: dict[str, Any]) -> str:
    """The hash of the facts with their own hash empty."""
    return hashlib.sha256(_json({**told, "self_sha256": ""}).encode()).hexdigest()


def attachments(dossier: Dossier, csv_file: Path, most_scans: int) -> tuple[Attached, ...]:
    """What lies inside the PDF. The samples of a run of more scans lie beside it only."""
    name = dossier.run.name
    others = [
        Attached(f"{name}.verdicts.json", verdicts(dossier), "application/json", "Verdicts with their working", "data")
    ]
    if dossier.run.scans <= most_scans:
        text = csv_file.read_bytes().decode("utf-8")
        others.insert(0, Attached(f"{name}.csv", text, "text/csv", "Every sample of chain and source", "data"))
    told = facts(dossier, tuple(others))
    return (
        *others,
        Attached(f"{name}.figures.json", told, "application/json", "Facts, and hashes of the rest", "data"),
    )


def _json(value: Any) -> str:
    return json.dumps(_plain(value), ensure_ascii=False, indent=1) + "\n"


def _plain(value: Any) -> Any:
    """JSON has neither NaN nor words of our own."""
    if isinstance(value, Enum):
        return _plain(value.value)
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, dict):
        return {str(k): _plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(v) for v in value]
    return value


FLAVOURS = {"": POINT, "-semicolon": COMMA}
