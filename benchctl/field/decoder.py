"""A type of device made ready for decoding, and the decoding of whatever named values it has. Pure.

What must be worked out once per type is kept with the type. One missing value never stops the rest.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from operator import itemgetter

from benchctl.core.profile import Profile
from benchctl.core.reading import Outcome
from benchctl.core.registers import Kind, Point, RegisterMap
from benchctl.field.answer import Answer, Answers, Got, outcome
from benchctl.field.bits import Gather, collect, gather
from benchctl.field.numbers import ALL, IDENTITY, LOAD, MEASURED, REST, Numbers, Sheet, all_there, padded, sheets
from benchctl.field.points import Plan, echo_points, plan_device, unit_points
from benchctl.field.scalars import Scalar, Words, scalar, text

EXPECT_TOLERANCE = 1e-5  # relative; float32 holds seven digits


@dataclass(frozen=True, slots=True)
class Decoder:
    """A type of device made ready: its plan and where each value lies in it."""

    plan: Plan
    always: tuple[int, ...]  # blocks that every scan asks for
    scalars: tuple[Scalar, ...]
    blocks: tuple[int, ...]  # per scalar: its block
    factors: tuple[Sheet, ...]  # scalars that are scale factors
    sheets: tuple[Sheet, ...]  # all others
    texts: tuple[tuple[Point, int, int, int], ...]  # point, block, first, end
    flags: tuple[str, ...]  # bit i of flag_bits is flags[i]
    flag_bits: Gather | None
    expected: tuple[tuple[int, float], ...]  # scalar, known value
    expected_texts: tuple[tuple[int, str], ...]
    stages: Gather | None = None
    orders: Gather | None = None
    faults: Gather | None = None
    in_force: bool = False  # the unit reads back the set point that it follows
    load_blocks: int = 0  # bit i: block i holds bits of stages
    texted: int = 0  # bit i: block i holds texts

    def pick(self, names: Sequence[str]) -> Callable[[Sequence[float | None]], tuple[float | None, ...]]:
        """A function from `Numbers.found` to the values of two or more names; None where the device has none such."""
        last = {s.name: s.place for s in self.scalars}
        return itemgetter(*(last.get(name, -1) for name in names))

    def named(self, found: Sequence[float | None]) -> "Values":
        """Valid values by name, without scale factors."""
        factors = {s.factor for s in self.scalars}
        return {
            s.name: v for s, v in zip(self.scalars, found, strict=False) if v is not None and s.place not in factors
        }


LOAD_NAMES = ("stages_closed", "stages_order", "setpoint_kw", "setpoint_in_force_kw")
SINGLES = frozenset(
    {"inlet_c", "exhaust_c", "uptime_s", "speed_rpm", "oil_kpa", "coolant_c", "fuel_percent", "battery_v"}
)


def _part(point: Point) -> int:
    """The part of a reading that hangs on a number."""
    part = LOAD if point.name in LOAD_NAMES else REST if point.name in SINGLES else MEASURED
    return part if point.expect is None else part | IDENTITY


_UNITS: dict[int, tuple[Profile, Decoder]] = {}
_MAPS: dict[int, tuple[RegisterMap, Decoder]] = {}


def unit_decoder(profile: Profile) -> Decoder:
    """The decoder of a unit profile, made once and kept by identity: hashing a profile costs more than a decode."""
    kept = _UNITS.get(id(profile))
    if kept is None:
        kept = _UNITS[id(profile)] = (profile, _prepare(profile.registers, unit_points(profile), profile))
    return kept[1]


def instrument_decoder(registers: RegisterMap) -> Decoder:
    """The decoder of an instrument's register map, made once."""
    kept = _MAPS.get(id(registers))
    if kept is None:
        kept = _MAPS[id(registers)] = (registers, _prepare(registers, registers.points, None))
    return kept[1]


def _prepare(registers: RegisterMap, points: Sequence[Point], profile: Profile | None) -> Decoder:
    plan = plan_device(registers, points, echo_points(profile) if profile else ())
    own = [p for p in registers.points if p in plan.points]
    bits = [p for p in own if p.kind is Kind.BIT]
    texts = tuple((p, *_place(plan, p)) for p in own if p.kind is Kind.TEXT)
    numbers = [p for p in own if p.kind not in (Kind.BIT, Kind.TEXT)]
    index = {p.name: i for i, p in reversed(list(enumerate(numbers)))}
    places = [plan.place(p) for p in numbers]
    scalars = tuple(
        scalar(p, i, places[i][1], index[p.scale_from] if p.scale_from else -1, _part(p)) for i, p in enumerate(numbers)
    )
    factors = {s.factor for s in scalars}
    rows = [(places[i][0], s, p) for i, (s, p) in enumerate(zip(scalars, numbers, strict=True))]
    stages = gather(plan, _feedbacks(profile)) if profile else None
    orders = gather(plan, [s.order for s in profile.stages]) if profile else None
    return Decoder(
        plan,
        plan.always,
        scalars,
        tuple(block for block, _ in places),
        sheets([row for row in rows if row[1].place in factors]),
        sheets([row for row in rows if row[1].place not in factors]),
        texts,
        tuple(p.name for p in bits),
        gather(plan, bits),
        tuple((i, float(p.expect)) for i, p in enumerate(numbers) if p.expect is not None),
        tuple((i, str(row[0].expect)) for i, row in enumerate(texts) if row[0].expect is not None),
        stages,
        orders,
        gather(plan, [f.point for f in profile.faults]) if profile else None,
        registers.point("setpoint_in_force_kw") is not None,
        (stages.blocks if stages else 0) | (orders.blocks if orders else 0),
        sum({1 << row[1] for row in texts}),
    )


def _place(plan: Plan, point: Point) -> tuple[int, int, int]:
    block, first = plan.place(point)
    return block, first, first + point.words


def _feedbacks(profile: Profile) -> list[Point | None]:
    """What reads back each stage: its feedback; where it has none (and the unit no mask), its order register."""
    mask = profile.registers.point("stages_closed") is not None
    return [s.feedback or (None if mask else s.order) for s in profile.stages]


Values = dict[str, float]


@dataclass(slots=True)
class Decoded:
    """Everything valid that a device's answers hold, by name."""

    values: Values
    texts: dict[str, str]
    flags: dict[str, bool]
    suspect: list[str]
    identity_ok: bool | None


class Memory:
    """What a device last said and what it meant, part by part: only what changed on the wire is decoded again.

    Kept or made afresh, it finds the same.
    """

    def __init__(self, ready: Decoder) -> None:
        self.ready = ready
        self.answers: tuple[Answer | None, ...] = (None,) * len(ready.plan.blocks)
        self.numbers = Numbers(len(ready.scalars), ready.factors, ready.sheets)
        self.flags: dict[str, bool] = {}
        self.texts: dict[str, str] = {}
        self.outcome = Outcome.NOT_ASKED
        self.identity_ok: bool | None = None
        self.moved = ALL  # parts of the reading that may be others than before the last answers
        self._bits = (0, 0)
        self._text_words: list[Words | None] = []

    def take(self, answers: Answers) -> int:
        """Take the answers of a scan: one for each block of the plan, or fewer from its end.

        Bit i of the result: block i answered otherwise than the last time; nothing else is decoded again.
        """
        ready = self.ready
        changed, bit, otherwise = 0, 1, False
        for now, before in zip(padded(answers, len(self.answers)), self.answers, strict=True):
            if now is not before:
                changed |= bit
                otherwise = otherwise or before is None or now.got is not before.got or now.holes != before.holes
            bit += bit
        self.moved = 0
        if not changed:
            return 0
        self.answers = answers = padded(answers, len(self.answers))
        moved = self.numbers.take(answers, changed)
        if ready.flag_bits is not None and changed & ready.flag_bits.blocks:
            self._take_flags(ready.flag_bits, answers)
        if changed & ready.texted:
            moved |= self._take_texts(answers)
        if otherwise:
            self.outcome = outcome(answers, ready.always)
        if otherwise or moved & IDENTITY:
            self.identity_ok = _identity(ready, answers, self.numbers.found, self._text_words)
        self.moved = moved
        return changed

    def _take_flags(self, gathered: Gather, answers: Answers) -> None:
        bits, known = found = collect(gathered, answers)
        if found != self._bits:
            self._bits = found
            self.flags = {name: bits >> i & 1 == 1 for i, name in enumerate(self.ready.flags) if known >> i & 1}

    def _take_texts(self, answers: Answers) -> int:
        texts = self.ready.texts
        found = [
            answers[block].words[first:end] if _was_read(answers, block, first, end) else None
            for _, block, first, end in texts
        ]
        if found == self._text_words:
            return 0
        self._text_words = found
        said = [(row[0], text(words, row[0].order)) for row, words in zip(texts, found, strict=True) if words]
        self.texts = {point.name: t for point, t in said if t is not None}
        return IDENTITY


def decode(ready: Decoder, answers: Answers) -> Decoded:
    """All named values of a device. answers: as many as the plan has blocks, or fewer from its end."""
    memory = Memory(ready)
    memory.take(answers)
    numbers = memory.numbers
    return Decoded(ready.named(numbers.found), memory.texts, memory.flags, numbers.suspect, memory.identity_ok)


def _identity(
    ready: Decoder,
    answers: Answers,
    numbers: Sequence[float | None],
    texts: Sequence[Words | None],
) -> bool | None:
    """True: every known value reads as it should, or the profile has none and the device answered.

    False: one reads otherwise. None: not all of them were read in this scan, and none of those that were is wrong.
    """
    unread = False
    for i, wanted in ready.expected:
        if not _was_read(answers, ready.blocks[i], ready.scalars[i].first, ready.scalars[i].end):
            unread = True
        elif (value := numbers[i]) is None or abs(value - wanted) > EXPECT_TOLERANCE * max(1.0, abs(wanted)):
            return False
    for i, known in ready.expected_texts:
        words = texts[i] if texts else None
        if words is None:
            unread = True
        elif text(words, ready.texts[i][0].order) != known.strip():
            return False
    if unread or not any(a.got is Got.OK for a in answers):
        return None
    return True


def _was_read(answers: Answers, block: int, first: int, end: int) -> bool:
    """True when the device gave all words [first, end) of a block."""
    if block >= len(answers):
        return False
    answer = answers[block]
    return answer.got is Got.OK and (not answer.holes or all_there(answer.holes, first, end))
