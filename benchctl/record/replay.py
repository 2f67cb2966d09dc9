"""A recorded run, decided again: the recorded inputs go through today's `decide`, scan by scan.

Orders and the digest of the state are compared in every scan. Where the state before a scan is not known, after a gap
or in a record that does not begin with the bench's first scan, the replay goes on from the full state that the record
keeps there; that one scan is not compared. At the first difference the orders, the events and, from the next full
state in the record, the state are told side by side.

Digests say nothing in a record whose states have other fields than today's: then orders alone are compared.
"""

from dataclasses import dataclass
from itertools import islice

from benchctl.core.decide import decide
from benchctl.core.decision import Decision, Settings, first_state
from benchctl.core.state import State
from benchctl.record.difference import differences
from benchctl.record.digest import state_digest
from benchctl.record.reader import Reader, Scan

LINES = 40  # of a difference
OTHER_FIELDS = "its states have other fields than today's: orders are compared, states are not"
LOOK_AHEAD = 400  # scans to the next full state: they are a minute apart


@dataclass(frozen=True, slots=True)
class Difference:
    """The first scan that comes out differently."""

    scan: int
    now_s: float
    wall_ns: int
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Replayed:
    """What a replay found. compared: scans; gaps: holes stepped over; difference: None when all was equal."""

    compared: int
    gaps: int
    difference: Difference | None
    note: str = ""

    @property
    def equal(self) -> bool:
        """True when there was something to compare and all of it was equal."""
        return self.difference is None and self.compared > 0


def replay(reader: Reader, settings: Settings | None = None) -> Replayed:
    """Replay a run from its first scan. settings: None = as recorded. Raises RecordFault for damage."""
    settings = settings or reader.settings
    state = first_state(settings)
    compared = gaps = 0
    before = -1  # the first scan of a bench is 0, and only that one follows the first state
    digests = _digests_hold(reader)
    notes: list[str] = [] if digests else [OTHER_FIELDS]
    for scan in reader.scans():
        if scan.n != before + 1:
            if before >= 0:
                gaps += 1
            else:
                notes.append(f"begins with scan {scan.n} of the bench, from the state kept after it")
            kept = reader.state(scan.n)
            if kept is None:
                notes.append(f"no state {'after the gap before' if before >= 0 else 'in'} scan {scan.n}: stopped there")
                break
            state = kept
        else:
            decided = _decided(state, scan, settings)
            compared += 1
            difference, failed = _compared(reader, scan, decided, settings, digests=digests)
            if failed:
                notes.append(failed)
            if difference or isinstance(decided, str):
                return Replayed(compared, gaps, difference, "; ".join(notes))
            state = decided.state
        before = scan.n
    if not compared and not notes:
        notes.append("the record has no scans")
    return Replayed(compared, gaps, None, "; ".join(notes))


def _digests_hold(reader: Reader) -> bool:
    """Whether the first full state of the record has, read today, the digest that it had when it was written."""
    for n in reader.states()[:1]:
        state, scan = reader.state(n), next(reader.scans(n - 1), None)
        return state is None or scan is None or scan.n != n or state_digest(state) == scan.state_hash
    return True


def _compared(
    reader: Reader, scan: Scan, decided: Decision | str, settings: Settings, *, digests: bool
) -> tuple[Difference | None, str]:
    """What is different in a scan, and what is to be said where decide failed then and now."""
    if isinstance(decided, str) or scan.fault:
        lines = _faults(scan, decided)
        failed = "" if lines else f"decide failed in scan {scan.n}"
    elif decided.orders != scan.orders() or (digests and state_digest(decided.state) != scan.state_hash):
        lines, failed = _told(reader, scan, decided, settings), ""
    else:
        return None, ""
    return (None if failed else Difference(scan.n, scan.now_s, scan.wall_ns, lines)), failed


def _decided(state: State, scan: Scan, settings: Settings) -> Decision | str:
    """The decision, or what decide said when it failed."""
    inputs = scan.inputs(settings.site)
    try:
        return decide(state, inputs, settings)
    except Exception as fault:  # a decide that fails is what a replay is there to show
        return f"{type(fault).__name__}: {fault}"


def _faults(scan: Scan, decided: Decision | str) -> tuple[str, ...]:
    if isinstance(decided, str):
        return () if scan.fault else (f"recorded a decision, now decide fails: {decided}",)
    return (f"recorded that decide failed ({scan.fault}), now it decides",)


def _told(reader: Reader, scan: Scan, decided: Decision, settings: Settings) -> tuple[str, ...]:
    lines = [f"orders.{line}" for line in differences(scan.orders(), decided.orders)]
    recorded = [(e.kind, e.unit, e.text) for e in reader.events(scan.n)]
    now = [(e.kind, e.unit, e.text) for e in decided.events]
    lines += [f"event recorded, not now: {text}" for kind, unit, text in recorded if (kind, unit, text) not in now]
    lines += [f"event now, not recorded: {text}" for kind, unit, text in now if (kind, unit, text) not in recorded]
    lines += _state_lines(reader, scan, decided.state, settings)
    return tuple([*lines[:LINES], f"and {len(lines) - LINES} more"] if len(lines) > LINES else lines)


def _state_lines(reader: Reader, scan: Scan, state: State, settings: Settings) -> list[str]:
    """The state against the first full state recorded in the scan of the difference or after it."""
    kept = reader.state(scan.n)
    at = scan.n
    for later in islice(reader.scans(scan.n), LOOK_AHEAD) if kept is None else ():
        decided = _decided(state, later, settings)
        if later.n != at + 1 or isinstance(decided, str):
            break
        state, at = decided.state, later.n
        kept = reader.state(at)
        if kept is not None:
            break
    if kept is None:
        return (
            ["the state's digest differs; no full state follows in the record to compare with"]
            if state_digest(state) != scan.state_hash
            else []
        )
    return [f"state after scan {at}: {line}" for line in differences(kept, state)]
