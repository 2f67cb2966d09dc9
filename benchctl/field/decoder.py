"""A type of device made ready for decoding, and the decoding of whatever named values it has. Pure.

What must be worked out once per type is kept with the type. One missing value never stops the rest.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from benchctl.core.profile import Profile
from benchctl.core.registers import Kind, Point, RegisterMap
from benchctl.field.answer import Answers, Got
from benchctl.field.bits import Gather, collect, gather
from benchctl.field.points import Plan, echo_points, plan_device, unit_points
from benchctl.field.scalars import Scalar, judge, power_of_ten, scalar, text

EXPECT_TOLERANCE = 1e-5  # relative; float32 holds seven digits


@dataclass(frozen=True, slots=True)
class Decoder:
    """A type of device made ready: its plan and where each value lies in it."""

    plan: Plan
    always: tuple[int, ...]  # blocks that every scan asks for
    scalars: tuple[Scalar, ...]
    blocks: tuple[int, ...]  # per scalar: its block
    factors: tuple[int, ...]  # scalars that are scale factors
    groups: tuple[tuple[int, tuple[tuple[int, Scalar], ...]], ...]  # block, its scalars but the factors
    texts: tuple[tuple[Point, int, int, int], ...]  # point, block, first, end
    flags: tuple[str, ...]  # bit i of flag_bits is flags[i]
    flag_bits: Gather | None
    expected: tuple[tuple[int, float], ...]  # scalar, known value
    expected_texts: tuple[tuple[int, str], ...]
    stages: Gather | None = None
    orders: Gather | None = None
    faults: Gather | None = None


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
    scalars = tuple(scalar(p, plan.place(p)[1], index[p.scale_from] if p.scale_from else -1) for p in numbers)
    blocks = tuple(plan.place(p)[0] for p in numbers)
    factors = tuple(sorted({s.factor for s in scalars if s.factor >= 0}))
    groups = tuple(
        (block, tuple((i, s) for i, s in enumerate(scalars) if blocks[i] == block and i not in factors))
        for block in sorted(set(blocks))
    )
    return Decoder(
        plan,
        plan.always,
        scalars,
        blocks,
        factors,
        groups,
        texts,
        tuple(p.name for p in bits),
        gather(plan, bits),
        tuple((i, float(p.expect)) for i, p in enumerate(numbers) if p.expect is not None),
        tuple((i, str(row[0].expect)) for i, row in enumerate(texts) if row[0].expect is not None),
        gather(plan, _feedbacks(profile)) if profile else None,
        gather(plan, [s.order for s in profile.stages]) if profile else None,
        gather(plan, [f.point for f in profile.faults]) if profile else None,
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


def decode(ready: Decoder, answers: Answers) -> Decoded:
    """All named values of a device. answers: as many as the plan has blocks, or fewer from its end."""
    suspect: list[str] = []
    numbers, values = _numbers(ready, answers, suspect)
    flags: dict[str, bool] = {}
    if ready.flag_bits is not None:
        bits, known = collect(ready.flag_bits, answers)
        for i, name in enumerate(ready.flags):
            if known >> i & 1:
                flags[name] = bits >> i & 1 == 1
    found: list[str | None] = []
    for point, block, first, end in ready.texts:
        read = _was_read(answers, block, first, end)
        found.append(text(answers[block].words[first:end], point.order) if read else None)
    texts = {row[0].name: t for row, t in zip(ready.texts, found, strict=True) if t is not None}
    return Decoded(values, texts, flags, suspect, _identity(ready, answers, numbers, found))


def _numbers(ready: Decoder, answers: Answers, suspect: list[str]) -> tuple[list[float | None], Values]:
    """Every number: by index of the scalar, and those that are valid by name."""
    numbers: list[float | None] = [None] * len(ready.scalars)
    values: Values = {}
    for i in ready.factors:
        s, block = ready.scalars[i], ready.blocks[i]
        if _was_read(answers, block, s.first, s.end):
            numbers[i] = power_of_ten(s, answers[block].words)
    for block, rows in ready.groups:
        if block >= len(answers) or answers[block].got is not Got.OK:
            continue
        answer = answers[block]
        if answer.holes:
            rows = tuple((i, s) for i, s in rows if _whole(answer.holes, s.first, s.end))  # noqa: PLW2901
        judge(rows, answer.words, numbers, values, suspect)
    return numbers, values


def _whole(holes: tuple[int, ...], first: int, end: int) -> bool:
    return not any(first <= hole < end for hole in holes)


def _identity(
    ready: Decoder,
    answers: Answers,
    numbers: Sequence[float | None],
    texts: Sequence[str | None],
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
        _, block, first, end = ready.texts[i]
        if not _was_read(answers, block, first, end):
            unread = True
        elif texts[i] != known.strip():
            return False
    if unread or not any(a.got is Got.OK for a in answers):
        return None
    return True


def _was_read(answers: Answers, block: int, first: int, end: int) -> bool:
    """True when the device gave all words [first, end) of a block."""
    if block >= len(answers):
        return False
    answer = answers[block]
    return answer.got is Got.OK and (not answer.holes or _whole(answer.holes, first, end))
