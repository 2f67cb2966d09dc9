"""The words last read of a device and what each means, for whoever compares them with its manual.

They are those of the scans' own reads, which are recorded too: the wire is not asked for them. A block that a scan did
not read keeps its words and grows old; one that did not answer says so beside them.
"""

from typing import Any, NamedTuple

from benchctl.core.decision import Frame
from benchctl.core.profile import Profile
from benchctl.core.quantities import BY_NAME
from benchctl.core.reading import Maybe
from benchctl.core.registers import Kind, Point, Space
from benchctl.core.site import Instrument, Site, Unit
from benchctl.field.answer import NOT_ASKED, Answer, Got
from benchctl.field.decoder import Memory
from benchctl.field.points import Block
from benchctl.field.sweep import Sweep, decoder_of

ENDED = {
    Got.NOT_ASKED: "not read yet",
    Got.OK: "ok",
    Got.SILENT: "no answer",
    Got.BAD: "an answer that is none",
    Got.DOWN: "no connection",
}
TABLES = [space.value for space in Space]
NO_VALUE, SUSPECT = "no value", "cannot be true"


class _Kept(NamedTuple):
    """One block of one device: its newest read, and its newest words with their time."""

    newest: Answer = NOT_ASKED
    words: Answer = NOT_ASKED
    at_s: float = 0.0


class Registers:
    """Fed in the engine's thread, asked in any."""

    def __init__(self, site: Site) -> None:
        self._devices: tuple[Unit | Instrument, ...] = (*site.units, *site.instruments)
        self._kept = [[_Kept()] * len(decoder_of(d).plan.blocks) for d in self._devices]
        self._newest: tuple[int | None, float] = (None, 0.0)

    def put(self, frame: Frame) -> None:
        """Keep what a scan has read."""
        sweep, now_s = frame.sweep, frame.inputs.now_s
        if not isinstance(sweep, Sweep):
            return
        for kept, answers in zip(self._kept, (*sweep.units, *sweep.instruments), strict=True):
            for i, answer in enumerate(answers):
                if answer.got is Got.OK:
                    kept[i] = _Kept(answer, answer, now_s)
                elif answer.got is not Got.NOT_ASKED:
                    kept[i] = kept[i]._replace(newest=answer)
        self._newest = frame.number, now_s

    @property
    def names(self) -> list[str]:
        """Of the devices."""
        return [d.name for d in self._devices]

    def of(self, name: str) -> dict[str, Any]:
        """Data of an answer to `registers`, see door/messages.py. Raises KeyError for no such device."""
        at = {n: i for i, n in enumerate(self.names)}[name]
        number, now_s = self._newest
        device, kept = self._devices[at], tuple(self._kept[at])
        ready = decoder_of(device)
        memory = Memory(ready)
        memory.take(tuple([k.words for k in kept]))
        named, numbers = _named(device), _numbers(device, memory)
        blocks: list[dict[str, Any]] = []
        rows: list[dict[str, Any]] = []
        for block, (newest, words, at_s) in zip(ready.plan.blocks, kept, strict=True):
            known = words.got is Got.OK
            age_s = max(0.0, round(now_s - at_s, 3)) if known else None
            place = {"table": block.space.value, "first": block.first, "count": block.count}
            blocks.append(place | {"age_s": age_s, "ended": _ended(newest)})
            if known:
                rows += [row | {"age_s": age_s} for row in _rows(block, words, named, memory, numbers)]
        rows.sort(key=lambda r: (TABLES.index(r["table"]), r["address"], r["bit"] or 0, r["name"]))
        return {"name": name, "number": number, "blocks": blocks, "rows": rows}


def _ended(answer: Answer) -> str:
    if answer.got is Got.EXCEPTION:
        return f"exception {answer.code}"
    return f"{len(answer.holes)} addresses missing" if answer.holes else ENDED[answer.got]


def _named(device: Unit | Instrument) -> list[tuple[str, Point]]:
    """Every point that a device's reads hold, with the name that it is shown by."""
    if isinstance(device, Instrument):
        return [(p.name, p) for p in device.registers.points]
    profile: Profile = device.profile
    stages = [
        (f"stage {stage.name} {what}", point)
        for stage in profile.stages
        for what, point in (("order", stage.order), ("feedback", stage.feedback))
        if point is not None
    ]
    faults = [(f"fault {fault.name}", fault.point) for fault in profile.faults]
    return [*((p.name, p) for p in profile.registers.points), *stages, *faults]


def _rows(
    block: Block, words: Answer, named: list[tuple[str, Point]], memory: Memory, numbers: dict[int, Maybe]
) -> list[dict[str, Any]]:
    """Rows of one block: a row a point, and one for each address that no point has."""
    here = [
        (name, p) for name, p in named if p.space is block.space and block.first <= p.address and p.end <= block.end
    ]
    rows = [_row(block, words, name, p, _text(block, words, p, memory, numbers)) for name, p in here]
    taken = {address for _, p in here for address in range(p.address, p.end)}
    bare = [Point("", block.space, a, Kind.UINT16) for a in range(block.first, block.end) if a not in taken]
    return rows + [_row(block, words, "", p, "") for p in bare]


def _numbers(device: Unit | Instrument, memory: Memory) -> dict[int, Maybe]:
    """Values of the points that are numbers, by the point's identity: names may come twice."""
    registers = device.profile.registers if isinstance(device, Unit) else device.registers
    read = {id(p) for p in memory.ready.plan.points}
    points = [p for p in registers.points if id(p) in read and p.kind not in (Kind.BIT, Kind.TEXT)]
    return {id(p): memory.numbers.found[s.place] for p, s in zip(points, memory.ready.scalars, strict=True)}


def _row(block: Block, words: Answer, name: str, point: Point, text: str) -> dict[str, Any]:
    raws = [_raw(block, words, address) for address in range(point.address, point.end)]
    return {
        "table": block.space.value,
        "address": point.address,
        "bit": point.bit,
        "words": " ".join("----" if raw is None else f"{raw:04X}" for raw in raws),
        "name": name,
        "text": text,
    }


def _raw(block: Block, answer: Answer, address: int) -> int | None:
    """A register, or a bit as 0 or 1; None where the device has declared it unavailable."""
    offset = address - block.first
    if offset in answer.holes:
        return None
    return answer.words[offset >> 4] >> (offset & 15) & 1 if block.space.bits else answer.words[offset]


def _text(block: Block, words: Answer, point: Point, memory: Memory, numbers: dict[int, Maybe]) -> str:
    """What a point means now."""
    if point.kind is Kind.BIT:
        raw = _raw(block, words, point.address)
        if raw is None:
            return NO_VALUE
        return "yes" if (raw >> (point.bit or 0) & 1 == 1) != point.inverted else "no"
    if point.kind is Kind.TEXT:
        return memory.texts.get(point.name, NO_VALUE)
    value = numbers.get(id(point))
    if value is None:
        return SUSPECT if point.name in memory.numbers.suspect else NO_VALUE
    unit = BY_NAME[point.name].unit if point.name in BY_NAME else ""
    told = str(int(value)) if value == int(value) else f"{value:.7g}"
    return f"{told} {unit}".rstrip()
