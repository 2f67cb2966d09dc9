"""What a scan accepted, held against what the devices said: values, acknowledgements, and the order of writes.

Three ways a value can be accepted: as the device said it; as no device said it, though the frame that told so is
flawless by the letter of Modbus TCP, which has no check of its data (counted apart); as neither: a fault of ours.
"""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, fields, replace

from benchctl.core.orders import Orders, UnitOrders, UnitWrites, Write
from benchctl.core.reading import Electrical, InstrumentReading, UnitReading
from benchctl.core.registers import Space
from benchctl.core.site import Endpoint, Instrument, Site, Unit
from benchctl.field.answer import Answer, Answers, Got
from benchctl.field.decode import basis, decode_instrument, decode_unit
from benchctl.field.points import Block
from benchctl.field.sweep import Sweep, decoder_of
from tests.hostile.ledger import Asked

FUNCTION = {Space.COIL: 1, Space.DISCRETE: 2, Space.HOLDING: 3, Space.INPUT: 4}
KEPT = 2000  # reads of a device: what is asked once at contact may be told only when the last part of it has come
Log = Sequence[tuple[Endpoint, Asked]]


@dataclass(slots=True)
class Found:
    """The figures of a universe, and what broke a law, in words."""

    counts: Counter[str] = field(default_factory=Counter)
    broken: list[str] = field(default_factory=list)


class Judge:
    """Judges scan after scan of one site. Requests are kept until newer ones of the same range have been answered."""

    def __init__(self, site: Site, found: Found) -> None:
        self.site, self.found = site, found
        self.devices: tuple[Unit | Instrument, ...] = (*site.units, *site.instruments)
        self._nominal = basis(site.nameplate, site.limits.volts_present_percent)
        self._reads: dict[tuple[Endpoint, int, int], list[Asked]] = {}

    def read(self, sweep: Sweep, log: Log, at_s: float) -> None:
        """Every answer of a sweep. log: requests since the last one."""
        for endpoint, asked in log:
            if not asked.write:
                kept = self._reads.setdefault((endpoint, asked.unit_id, asked.function), [])
                kept.append(asked)
                del kept[:-KEPT]
        for noun, answers in zip(self.devices, (*sweep.units, *sweep.instruments), strict=True):
            self._device(noun, answers, at_s)

    def _device(self, noun: Unit | Instrument, answers: Answers, at_s: float) -> None:
        plan = decoder_of(noun).plan
        truth = list(answers)
        forged = False
        for index, (answer, block) in enumerate(zip(answers, plan.blocks, strict=True)):
            self.found.counts[f"answers {answer.got.name}"] += 1
            if answer.got is not Got.OK:
                continue
            once = index >= plan.each
            honest = self._honest(noun, block, answer, once, at_s)
            if honest is not None and honest != answer.words:
                forged = True
                truth[index] = replace(answer, words=honest)
        if forged:
            self.found.counts["sweeps of a device with a value that no check of Modbus TCP can find wrong"] += 1
            self._meaning(noun, answers, tuple(truth))

    def _honest(
        self, noun: Unit | Instrument, block: Block, answer: Answer, once: bool, at_s: float
    ) -> tuple[int, ...] | None:
        """The words that the device said where the answer has words; tells what nobody said."""
        reads = self._reads.get((noun.endpoint, noun.unit_id, FUNCTION[block.space]), [])
        bits = block.space.bits
        if not bits and not answer.holes and not once and reads and (newest := reads[-1]).first == block.first:
            words = list(answer.words)  # nearly always: the newest request asked for just this block
            if newest.count == block.count and newest.values(newest.told) == words == newest.values(newest.honest):
                return answer.words
        honest = [0] * block.count if bits else list(answer.words)
        for i in range(block.count):
            if i in answer.holes:
                continue
            value = answer.words[i >> 4] >> (i & 15) & 1 if bits else answer.words[i]
            said, told = _newest(reads, block.first + i, once, value)
            if told != value:
                self.found.broken.append(
                    f"{at_s:.3f} s: {noun.name}: {block.space.value} {block.first + i} accepted as {value}; "
                    f"the device said {said}, the frame on the wire {told}"
                )
            honest[i] = value if said is None else said
        if not bits:
            return tuple(honest)
        return tuple(sum(b << k for k, b in enumerate(honest[n : n + 16])) for n in range(0, block.count, 16))

    def _meaning(self, noun: Unit | Instrument, answers: Answers, truth: Answers) -> None:
        """What became of values that no check of Modbus can find wrong."""
        if isinstance(noun, Unit):
            taken: UnitReading | InstrumentReading = decode_unit(noun, answers, self._nominal)
            true: UnitReading | InstrumentReading = decode_unit(noun, truth, self._nominal)
        else:
            taken = decode_instrument(noun, answers, self._nominal)
            true = decode_instrument(noun, truth, self._nominal)
        wrong = [name for name, a, b in _differences(taken, true) if a is not None]
        marked = taken.identity_ok is False or set(taken.suspect) - set(true.suspect)
        if taken == true:
            became = "… without effect: bits and registers that mean nothing, or the same after rounding"
        elif not wrong:
            became = "… noticed: taken as no value, or told as suspect"
        elif marked:
            became = "… accepted in part, the device marked (suspect values, or not the device that it should be)"
        else:
            became = "… accepted as true"
        self.found.counts[became] += 1

    def wrote(self, orders: Orders, sweep: Sweep, outcomes: Sequence[UnitWrites], log: Log, at_s: float) -> None:
        """Every outcome of the writes of a scan, and their order. log: requests of these writes."""
        for unit, given, outcome in zip(self.site.units, orders.units, outcomes, strict=True):
            mine = [a for e, a in log if (e, a.unit_id) == (unit.endpoint, unit.unit_id) and a.write]
            self._acknowledgements(unit, outcome, mine, at_s)
            for asked in mine:
                self.rose(unit, given, asked, at_s)
        if not orders.urgent:
            self._order(orders, sweep, log, at_s)

    def _acknowledgements(self, unit: Unit, outcome: UnitWrites, mine: list[Asked], at_s: float) -> None:
        ended = (outcome.opening, outcome.fan, outcome.closing, outcome.feed)
        if not mine or any(e not in (Write.NONE, Write.DONE) for e in ended):
            return
        for asked in mine:
            if not asked.acknowledged(asked.told):
                self.found.broken.append(f"{at_s:.3f} s: {unit.name}: a write counts as done without its own echo")
            elif not asked.acknowledged(asked.honest):
                self.found.counts["writes acknowledged by a forged echo"] += 1

    def rose(self, unit: Unit, given: UnitOrders, asked: Asked, at_s: float) -> None:
        """A device's ordered load went up only as far as its orders said that it may stand.

        An opening names what may stay closed: where the device has dropped that by itself, a mask register takes it up
        again, since the protocol has no other words. The rungs keep nothing that does not read back; it is counted.
        """
        if not raises(unit, asked):
            return
        wanted = given.keep if given.raise_to is None else given.raise_to
        beyond = asked.after > wanted if unit.profile.setpoint else asked.after & ~asked.before & ~(wanted | given.keep)
        if beyond or given.silent:
            told = f"ordered load went from {asked.before} to {asked.after}, asked was {given}"
            self.found.broken.append(f"{at_s:.3f} s: {unit.name}: {told}")
        elif given.raise_to is None:
            self.found.counts["openings that took up what a unit had dropped"] += 1

    def _order(self, orders: Orders, sweep: Sweep, log: Log, at_s: float) -> None:
        """Nothing closes before every opening of the units that were heard was acknowledged."""
        heard = {
            (u.endpoint, u.unit_id): u
            for u, order, answers in zip(self.site.units, orders.units, sweep.units, strict=True)
            if order.lower and any(a.got is Got.OK for a in answers)
        }
        by_unit = {(u.endpoint, u.unit_id): u for u in self.site.units}
        given = dict(zip(by_unit, orders.units, strict=True))
        openings: dict[tuple[Endpoint, int], list[Asked]] = {}
        for endpoint, asked in log:
            key = endpoint, asked.unit_id
            unit = by_unit.get(key)
            if unit is None or not asked.write:
                continue
            if closes(unit, given[key], asked):
                self.found.counts["closings sent"] += 1
                if any(not o.acknowledged(o.told) for mine in openings.values() for o in mine):
                    self.found.broken.append(f"{at_s:.3f} s: {unit.name} closes before an opening was acknowledged")
            elif key in heard and opens(unit, asked, first=key not in openings):
                openings.setdefault(key, []).append(asked)


def raises(unit: Unit, asked: Asked) -> bool:
    """True when a write raised the load that stands ordered at its unit."""
    return asked.after > asked.before if unit.profile.setpoint else bool(asked.after & ~asked.before)


def closes(unit: Unit, given: UnitOrders, asked: Asked) -> bool:
    """True when a write raised that load beyond what the orders keep."""
    if unit.profile.setpoint:
        return asked.after > max(asked.before, given.keep)
    return bool(asked.after & ~asked.before & ~given.keep)


def opens(unit: Unit, asked: Asked, first: bool) -> bool:
    """True for a write that opens: of a coil its 0, of a whole load register the first of a scan."""
    registers = unit.profile.registers
    whole = registers.point("stages_order") or registers.point("setpoint_kw")
    if asked.function in (5, 15):
        coils = [s.order.address for s in unit.profile.stages if s.order is not None and s.order.space is Space.COIL]
        return asked.first in coils and not any(asked.pdu[3 if asked.function == 5 else 6 :])
    return first and whole is not None and whole.address == asked.first


def _newest(reads: list[Asked], address: int, once: bool, value: int) -> tuple[int | None, int | None]:
    """What the device said at an address and what the wire told of it, in the newest answered request that has it.

    once: values that are kept for some scans; the newest that told this value counts.
    """
    newest: tuple[int | None, int | None] | None = None
    for asked in reversed(reads):
        if not asked.first <= address < asked.first + asked.count:
            continue
        values = asked.values(asked.told)
        if values is None:
            continue
        honest = asked.values(asked.honest)
        at = address - asked.first
        found = (None if honest is None else honest[at]), values[at]
        newest = newest or found
        if not once:
            break
        if values[at] == value:
            return found
    return newest or (None, None)


def _differences(a: object, b: object) -> Iterator[tuple[str, object, object]]:
    """Names and values of the fields in which two readings differ, those of a measurement one by one."""
    for one in fields(a):  # type: ignore[arg-type]
        left, right = getattr(a, one.name), getattr(b, one.name)
        if left == right or one.name in ("outcome", "identity_ok", "suspect"):
            continue
        if isinstance(left, Electrical):
            yield from _differences(left, right)
        elif isinstance(left, tuple):
            yield from ((one.name, p, q) for p, q in zip(left, right, strict=True) if p != q)
        else:
            yield one.name, left, right
