"""A recorded run judged by rule sets. The record is only read: verdicts lie beside it and name its hash."""

import json
import os
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from benchctl import __version__
from benchctl.assessment.figures import figures
from benchctl.assessment.judge import judge
from benchctl.assessment.plain import rows, working
from benchctl.assessment.trail import Trail
from benchctl.assessment.verdict import Judgement, Working
from benchctl.capture.store import captures_of, content_hash
from benchctl.core.ruleset import RuleSet
from benchctl.files import DISK, FileFault, RecordedShelf, SourceFile, read_rule_set
from benchctl.files.bounded import from_json
from benchctl.record.late import late_path
from benchctl.record.reader import Reader
from benchctl.record.seal import ALGORITHM, file_hash
from benchctl.record.trail import trail

KIND = "ruleset"


@dataclass(frozen=True, slots=True)
class Assessed:
    """What a run is worth. sources: the files of the rule sets, in the order of the judgements."""

    trail: Trail
    judgements: tuple[Judgement, ...]
    figures: tuple[Working, ...]
    sources: tuple[SourceFile, ...]


def assessed(reader: Reader, names: Sequence[str] = ()) -> Assessed:
    """Judge a run by the rule sets of these names, or, without any, by those that its program names.

    A rule set is taken from the record where the record has it. Captures and late entries that lie beside the record
    are used. Raises RecordFault, FileFault.
    """
    wanted = names or named(reader)
    read = [_rule_set(reader, name) for name in wanted]
    found = trail(reader)
    judgements = tuple(judge(found, rules) for rules, _ in read)
    return Assessed(found, judgements, figures(found), tuple(source for _, source in read))


def named(reader: Reader) -> tuple[str, ...]:
    """The rule sets that the run's program names. Raises RecordFault."""
    program = reader.settings.program
    return () if program is None else program.rule_sets


def _rule_set(reader: Reader, name: str) -> tuple[RuleSet, SourceFile]:
    kept = [file for file in reader.files if file.kind == KIND]
    try:
        return read_rule_set(name, RecordedShelf(kept))
    except FileFault:
        return read_rule_set(name, DISK)


def verdicts_path(path: Path) -> Path:
    """Where the verdicts of a record are kept."""
    return path.with_name(path.name + ".verdicts.json")


def save(path: Path, found: Assessed) -> Path:
    """Keep the verdicts beside the record, with the hashes of it, of the rule sets, of captures and late entries.

    Raises OSError.
    """
    data: dict[str, Any] = {
        "file": path.name,
        "algorithm": ALGORITHM,
        "hash": file_hash(path),
        "assessed": datetime.now().astimezone().isoformat(timespec="seconds"),
        "tool": __version__,
        "rule_sets": [
            {"name": source.name, "path": source.path, "sha256": source.sha256, "outcome": judgement.outcome.value}
            for source, judgement in zip(found.sources, found.judgements, strict=True)
        ],
        "beside": beside_hashes(path),
        "verdicts": [row for judgement in found.judgements for row in rows(judgement)],
        "figures": [working(one) for one in found.figures],
    }
    data["content_hash"] = content_hash(data)
    target = verdicts_path(path)
    half_done = target.with_name(target.name + ".part")
    with half_done.open("w", encoding="utf-8") as stream:
        stream.write(_text(data))
        stream.flush()
        os.fsync(stream.fileno())
    half_done.replace(target)
    return target


def changed(text: str) -> bool:
    """Whether kept verdicts were changed after they were kept. Raises ValueError for what is none."""
    data = from_json(text)
    if not isinstance(data, dict) or "hash" not in data:
        raise ValueError("no verdicts")
    if text != _text(data):
        return True
    kept = data.pop("content_hash", None)  # those of before there was one can only be compared with their own form
    return kept is not None and kept != content_hash(data)


def beside_hashes(path: Path) -> dict[str, str]:
    """SHA-256 of the captures and the late entries beside a record, by their names. Raises OSError."""
    captures = {f"{file.parent.name}/{file.name}": file_hash(file) for file in captures_of(path)}
    late = late_path(path)
    return captures | ({late.name: file_hash(late)} if late.is_file() else {})


def _text(data: dict[str, Any]) -> str:
    return json.dumps(data, ensure_ascii=False, allow_nan=False, indent=1) + "\n"
