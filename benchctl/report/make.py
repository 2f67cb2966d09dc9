"""A recorded run → the files of its report in a folder: PDF, HTML, CSV in two flavours, and a list of their hashes."""

import hashlib
from collections.abc import Iterable, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

from benchctl.planning import plan
from benchctl.record.assessed import assessed
from benchctl.record.reader import Reader
from benchctl.report.content import content
from benchctl.report.dossier import Dossier
from benchctl.report.figures import FLAVOURS, attachments, tables
from benchctl.report.measures import Measures
from benchctl.report.page import page
from benchctl.report.recorded import recorded
from benchctl.report.typeset import TypesetFault, typeset

LONGEST_INSIDE = 60_000  # scans whose samples lie inside the PDF; of longer runs they lie beside it only


@dataclass(frozen=True, slots=True)
class Made:
    """What was written, and why the PDF was not, if it was not."""

    files: tuple[Path, ...]
    fault: str = ""


def open_run(path: Path, rule_sets: Sequence[str] = (), units: str = "metric") -> Dossier:
    """Read a run and judge it by rule sets, without any by those that its program names.

    Raises RecordFault, FileFault.
    """
    run = recorded(path)
    with Reader(path) as reader:
        found = assessed(reader, rule_sets)
    drawn = plan(run.site, run.program) if run.program is not None else None
    return Dossier(run, found.trail, found.judgements, found.figures, drawn, Measures(units))


def write(dossier: Dossier, folder: Path, paper: str = "a4") -> Made:
    """Write the report's files, each whole or not at all. Raises OSError."""
    folder.mkdir(parents=True, exist_ok=True)
    name = dossier.run.name
    files = [folder / f"{name}{ending}.csv" for ending in FLAVOURS]
    _put_all(files, tables(dossier, tuple(FLAVOURS.values())))
    inside = attachments(dossier, files[0], LONGEST_INSIDE)
    drawn = content(dossier, tuple(a.name for a in inside))
    fault = ""
    try:
        made = typeset(drawn, inside, paper, dossier.begun)
    except TypesetFault as why:
        fault = str(why)
    else:
        files.insert(0, folder / f"{name}.pdf")
        _put_bytes(files[0], made)
    files.append(folder / f"{name}.html")
    _put_bytes(files[-1], page(drawn, tuple(a for a in inside if a.mime != "text/csv")).encode())
    sums = folder / f"{name}.sha256"
    _put_bytes(sums, "".join(f"{_hash(path)}  {path.name}\n" for path in files).encode())
    return Made((*files, sums), fault)


def _hash(path: Path) -> str:
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def _put_all(paths: list[Path], parts: Iterable[tuple[str, ...]]) -> None:
    """Write several files side by side, a part of each at a time."""
    half_done = [path.with_name(path.name + ".part") for path in paths]
    with ExitStack() as stack:
        streams = [stack.enter_context(path.open("w", encoding="utf-8", newline="")) for path in half_done]
        for texts in parts:
            for stream, text in zip(streams, texts, strict=True):
                stream.write(text)
    for half, path in zip(half_done, paths, strict=True):
        half.replace(path)


def _put_bytes(path: Path, data: bytes) -> None:
    half_done = path.with_name(path.name + ".part")
    half_done.write_bytes(data)
    half_done.replace(path)
