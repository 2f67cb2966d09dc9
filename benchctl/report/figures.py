"""The data that go with a report: every sample as CSV, the verdicts and the facts as JSON, and their hashes."""

import hashlib
import json
import math
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from enum import Enum
from pathlib import Path
from typing import Any

from benchctl.record.export import BOM, COMMA, END_OF_LINE, POINT, Flavour, cell, line
from benchctl.report.dossier import Dossier
from benchctl.report.typeset import Attached

COLUMNS = (
    "time", "elapsed_s", "target_kw", "delivered_kw", "source_kw", "percent_of_nameplate", "volts_v", "volts_ab",
    "volts_bc", "volts_ca", "amps_a", "amps_b", "amps_c", "hertz", "hottest_c", "events",
)  # fmt: skip
FORMAT = 1
SLICE = 2000  # scans at once


def tables(dossier: Dossier, flavours: Sequence[Flavour] = (POINT,)) -> Iterator[tuple[str, ...]]:
    """Every scan's figures of chain and source, with what happened in it: a line in each flavour, some scans at once.

    The mark of UTF-8 comes first. `benchctl export` has the figures of every unit and instrument besides.
    """
    yield tuple(BOM + line(COLUMNS, flavour) for flavour in flavours)
    run, trail = dossier.run, dossier.trail
    kilowatts = trail.power_kw
    share = 100.0 / run.site.nameplate.power_kw
    columns = (
        run.target_kw, run.delivered_kw, kilowatts, None, trail.volts_v, trail.pair_ab, trail.pair_bc,
        trail.pair_ca, trail.amps_a, trail.amps_b, trail.amps_c, trail.hertz, run.hottest_c,
    )  # fmt: skip
    events = _Events(dossier)
    for first in range(0, len(run.t_s), SLICE):
        part = slice(first, min(first + SLICE, len(run.t_s)))
        size = part.stop - part.start
        cells = [
            [_number(round(v * share, 6)) for v in kilowatts[part]] if c is None else [_number(v) for v in c[part]]
            for c in columns
        ]
        cells = [[*texts, *[""] * (size - len(texts))] for texts in cells]
        cells.insert(0, [_number(round(t, 6)) for t in run.t_s[part]])
        times = [dossier.at(t).isoformat(timespec="milliseconds") for t in run.t_s[part]]
        told = [events.until(t) for t in run.t_s[part]]
        yield tuple(_lines(times, cells, told, flavour) for flavour in flavours)


class _Events:
    """The texts of the events, scan by scan."""

    def __init__(self, dossier: Dossier) -> None:
        self._waiting = iter(dossier.run.events)
        self._next = next(self._waiting, None)

    def until(self, t_s: float) -> str | None:
        """What happened since the scan before."""
        told: list[str] = []
        while self._next is not None and self._next.at_s <= t_s + 1e-6:
            told.append(self._next.text)
            self._next = next(self._waiting, None)
        return " | ".join(told) or None


def _lines(times: list[str], cells: list[list[str]], told: list[str | None], flavour: Flavour) -> str:
    if flavour.decimal != ".":
        cells = [[text.replace(".", flavour.decimal) for text in texts] for texts in cells]
    last = [cell(text, flavour) for text in told]
    rows = zip(times, *cells, last, strict=True)
    return "".join([flavour.separator.join(row) + END_OF_LINE for row in rows])


def _number(value: float) -> str:
    return "" if math.isnan(value) else repr(value + 0.0)


def verdicts(dossier: Dossier) -> str:
    """The verdicts with their whole working."""
    return as_text(
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
        "beside": run.beside,
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
    return as_text(told)


def self_hash(told: dict[str, Any]) -> str:
    """The hash of the facts with their own hash empty."""
    return hashlib.sha256(as_text({**told, "self_sha256": ""}).encode()).hexdigest()


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


def as_text(value: Any) -> str:
    """Plain values as JSON, the same text for the same values."""
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
