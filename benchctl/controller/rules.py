"""The rule sets by which a program is judged: as they came with it, else as this computer has them."""

from dataclasses import dataclass

from benchctl.core.program import Program
from benchctl.core.ruleset import RuleSet
from benchctl.door.messages import RuleSetText
from benchctl.door.server import Rejected
from benchctl.files import DISK, FileFault, RecordedShelf, SourceFile, read_rule_set


@dataclass(frozen=True, slots=True)
class Judges:
    """rule_sets: those that the program names, in its order, then those that came along; named: files of the former."""

    rule_sets: tuple[RuleSet, ...]
    named: tuple[SourceFile, ...]


def judges(program: Program, sent: tuple[RuleSetText, ...]) -> Judges:
    """Read them all. Takes the time of a disk. Raises Rejected: one is not there, is broken, or came otherwise."""
    came: dict[str, SourceFile] = {}
    for one in sent:
        file = SourceFile.of("ruleset", one.ref, one.ref, one.text)
        if file.sha256 != one.sha256:
            raise Rejected(f"rule set {one.ref} did not arrive as it was sent")
        came[one.ref] = file
    named = [_read(ref, came, "a rule set that the program names cannot be read") for ref in program.rule_sets]
    others = [_read(ref, came, "a rule set cannot be read") for ref in came if ref not in program.rule_sets]
    return Judges(tuple(rules for rules, _ in (*named, *others)), tuple(file for _, file in named))


def _read(ref: str, came: dict[str, SourceFile], fails: str) -> tuple[RuleSet, SourceFile]:
    try:
        return read_rule_set(ref, RecordedShelf([came[ref]]) if ref in came else DISK)
    except FileFault as fault:
        raise Rejected(f"{fails}: {fault}") from None
