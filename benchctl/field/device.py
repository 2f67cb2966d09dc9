"""One device on its link: what is read of it in a scan, when it rests, which of its addresses do not exist."""

import asyncio
from collections.abc import Sequence

from benchctl.core.orders import UnitOrders, Write
from benchctl.core.registers import Space
from benchctl.core.site import Instrument, Unit
from benchctl.field.answer import GATEWAY_CODES, NOT_ASKED, SILENT, Answer, Answers, Got
from benchctl.field.asking import Asking
from benchctl.field.counts import Counts
from benchctl.field.drop import OPEN_ALL, ready
from benchctl.field.encode import Request, Writes, encode
from benchctl.field.holes import NO_SUCH_ADDRESS, Steps, existing, read_parts
from benchctl.field.link import Link
from benchctl.field.modbus import read_question, write_question
from benchctl.field.points import Block, Plan
from benchctl.field.sweep import decoder_of

OWN_SOCKET_TIMEOUT_S, GATEWAY_TIMEOUT_S = 0.5, 1.0
MUTE_TIMEOUT_S = 0.15  # for writes to a device that does not answer anyhow
FIRST_REST_S, LONGEST_REST_S = 0.2, 5.0
ONCE_EVERY_S = 60.0
ECHO_EVERY_S = 2.0  # what only repeats our orders; a device is asked for it again after each write anyhow
PACE = 0.9  # of a panel's refresh time between two asks
ROOM = 2.0  # times its usual time that must be left for a request that may as well come later
HURRIED = 0.5  # share of its time-out below which a device was not given the time to answer


class Device:
    """Reads and writes of one device. A silent one rests, is pinged between scans, and takes part again once heard."""

    def __init__(self, noun: Unit | Instrument, link: Link) -> None:
        registers = noun.profile.registers if isinstance(noun, Unit) else noun.registers
        self.noun, self.link = noun, link
        self.plan = decoder_of(noun).plan
        default_s = GATEWAY_TIMEOUT_S if noun.endpoint.gateway else OWN_SOCKET_TIMEOUT_S
        self.timeout_s = default_s if registers.timeout_s is None else registers.timeout_s
        self.turnaround_s = registers.turnaround_s
        self.answers: list[Answer] = []  # of the scan in progress, or of the last one
        self.before: Answers = ()  # of the scan before, in which something was asked
        self.counts = Counts()
        self.said: Answers = ()  # when it was last asked for everything, what does not change included
        self.took_s: float | None = None  # a request, on the average of the last scan
        self.silent = False
        self.absent: list[tuple[Space, int]] = []  # addresses found not to exist, each named once
        self.fault = ""  # why orders could not be written, in words
        self._questions = tuple(read_question(noun.unit_id, b) for b in self.plan.blocks)
        self._runs: dict[int, tuple[Block, ...]] = {}  # block → the parts of it that exist
        self._always = self.plan.always
        self._once: dict[int, Answer] = {}  # block → its answer, until the last of those read once has come
        self._echo: dict[int, Answer] = {}  # block → what was last heard of our orders, unless they changed since
        self._encoded: tuple[tuple[object, ...], Writes] | None = None  # the last orders as writes
        self._drop = ready(noun) if isinstance(noun, Unit) else None
        self._drop_begins = write_question(noun.unit_id, self._drop.openings[0]) if self._drop else None
        # a panel is not asked more often than it refreshes; meters are, for the sake of the limits that hang on them
        self._pace_s = PACE * noun.refresh_s if isinstance(noun, Instrument) and noun.role == "panel" else 0.0
        self._paced_until_s = 0.0
        self._fan = _fan_place(noun, self.plan)
        self._once_due_s = self._echo_due_s = self._rest_until_s = self._write_due_s = 0.0
        self._rest_s = FIRST_REST_S
        self._hurried = False
        self._contact_s = -1.0
        self._pinging = False
        self._heard_by_ping: Answer | None = None
        self._loop = asyncio.get_running_loop()
        self.clear()

    @property
    def heard(self) -> bool:
        """True when the device itself answered in this scan."""
        return _heard(self.answers)

    def recent(self) -> Answers:
        """What was last heard of the device: in this scan, or where it was not asked yet in the one before."""
        for answer in self.answers:
            if answer is not NOT_ASKED:
                return tuple(self.answers)
        return self.before

    @property
    def answering(self) -> bool:
        """True when the device is expected to answer."""
        return not self.silent and _heard(self.recent())

    def clear(self) -> None:
        """Begin a scan: nothing is known yet."""
        self.before = self.recent()
        self.answers = [NOT_ASKED] * len(self.plan.blocks)

    def miss(self, answer: Answer) -> None:
        """The device was not reached; `answer` says how."""
        if self.answers:
            self.answers[0] = answer

    def scan(self, until_s: float) -> Steps[None]:
        """Read what is due, block by block, until one stays without an answer."""
        if self._contact_s != self.link.connected_s:
            self._contact_s = self.link.connected_s
            self._runs.clear()
            self._forget()
        begun_s = self._loop.time()
        if begun_s < self._paced_until_s:
            return
        self._paced_until_s = begun_s + self._pace_s
        for index in self._always:
            if not (yield from self._read(index, until_s, 1.0)):
                return
        self._hurried = False
        self._rest_s = FIRST_REST_S
        now_s = self._loop.time()
        if self._always:
            self.took_s = (now_s - begun_s) / len(self._always)
        if now_s >= self._echo_due_s and self.plan.echoes:
            self._doubt()
            for index in self.plan.echoes:
                if not (yield from self._read(index, until_s, ROOM)):
                    return
            self._echo = {i: self.answers[i] for i in self.plan.echoes}
            self._echo_due_s = now_s + ECHO_EVERY_S
        if now_s >= self._once_due_s:
            yield from self._read_once(now_s, until_s)

    def _read(self, index: int, until_s: float, room: float) -> Steps[bool]:
        """Ask for one block if there is `room` times its usual time; False: it stayed without an answer."""
        patience_s = until_s - self._loop.time()
        if patience_s < room * self.turnaround_s:
            return False
        if self._runs and index in self._runs:
            answer = yield from read_parts(self._part, self.plan.blocks[index], self._runs[index])
        else:
            answer = self.counts.read((yield self._questions[index]))
            if answer.code == NO_SUCH_ADDRESS:
                answer = yield from self._around_holes(index, answer)
        self.answers[index] = answer
        if answer.got is Got.OK:
            return True
        if answer.got not in (Got.SILENT, Got.DOWN, Got.NOT_ASKED) and answer.code not in GATEWAY_CODES:
            return True
        if not self.heard and answer.got in (Got.SILENT, Got.EXCEPTION):
            # A deadline that came too soon says little of the device, unless it does so twice.
            hurried = answer.got is Got.SILENT and patience_s < HURRIED * self.timeout_s
            if not hurried or self._hurried:
                self._rest()
            self._hurried = hurried
        return False

    def _read_once(self, now_s: float, until_s: float) -> Steps[None]:
        """What does not change, in as many scans as it needs, and told in one: together it identifies the device."""
        for index in range(self.plan.each, len(self.plan.blocks)):
            if index not in self._once:
                if not (yield from self._read(index, until_s, ROOM)):
                    return
                self._once[index], self.answers[index] = self.answers[index], NOT_ASKED
        for index, answer in self._once.items():
            self.answers[index] = answer
        self.said = tuple(self.answers)
        self._once = {}
        self._once_due_s = now_s + ONCE_EVERY_S

    def _forget(self) -> None:
        """The device may be another one: everything is to be read anew."""
        self._once_due_s = 0.0
        self._once = {}
        self._doubt()

    def _doubt(self) -> None:
        """Our orders in the device may have changed: what it held of them no longer counts, and is due."""
        self._echo = {}
        self._echo_due_s = 0.0

    def known(self) -> Answers:
        """The answers of this scan, with what was last heard of our orders where the scan did not ask for it."""
        if not self._echo:
            return tuple(self.answers)
        return tuple([self._known(i) for i in range(len(self.answers))])

    def _known(self, index: int) -> Answer:
        answer = self.answers[index]
        return self._echo.get(index, answer) if answer is NOT_ASKED else answer

    def _around_holes(self, index: int, refused: Answer) -> Steps[Answer]:
        """A refused block in parts, where some of its addresses do not exist."""
        block, values = self.plan.blocks[index], self.plan.values[index]
        runs = (yield from existing(self._part, block, values, self.absent)) if len(values) > 1 else None
        if runs is None:
            return refused
        self._runs[index] = runs
        return (yield from read_parts(self._part, block, runs))

    def _part(self, block: Block) -> Steps[Answer]:
        """Part of a block."""
        return self.counts.read((yield read_question(self.noun.unit_id, block)))

    async def ask_first(self) -> Answer:
        """Ask for the first block outside of a scan."""
        return self.counts.read(await self.link.ask(self._questions[0], self.timeout_s, float("inf")))

    # -- silence

    def _rest(self) -> None:
        self.silent = True
        self._rest_until_s = self._loop.time() + self._rest_s
        self._rest_s = min(2.0 * self._rest_s, LONGEST_REST_S)

    def _wake(self) -> None:
        self.silent = False
        self._rest_s = FIRST_REST_S
        self._forget()

    def ping_if_due(self) -> None:
        """Between scans, ask a resting device for one block, without anybody waiting for it."""
        if self.silent and not self._pinging and self.plan.blocks and self._loop.time() >= self._rest_until_s:
            self._pinging = True
            question = self._questions[self._always[0] if self._always else 0]
            answer = self.link.begin(question, self.timeout_s, float("inf"), self._pinged)
            if answer is not None:
                self._pinged(answer)

    def _pinged(self, answer: Answer) -> None:
        self._pinging = False
        self.counts.read(answer)
        if answer.got in (Got.SILENT, Got.DOWN) or answer.code in GATEWAY_CODES:
            self._heard_by_ping = answer
            self._rest()
        elif answer.got is not Got.NOT_ASKED:
            self._wake()

    def stop_ping(self) -> None:
        """Abandon a ping in flight."""
        if self._pinging:
            self._pinging = False
            self.link.withdraw(self._pinged)

    @property
    def ping_s(self) -> float | None:
        """How long a write may wait for a ping in flight: an answer needs no longer. None: there is none."""
        return max(MUTE_TIMEOUT_S, ROOM * (self.took_s or self.turnaround_s)) if self._pinging else None

    def give_up_ping(self) -> None:
        """A ping in flight has had its time: it counts as unanswered."""
        if self._pinging:
            self.stop_ping()
            self._pinged(SILENT)

    def last_ping(self) -> Answer:
        """How the last ping failed, told once; NOT_ASKED while the device rests."""
        answer, self._heard_by_ping = self._heard_by_ping, None
        return answer or NOT_ASKED

    # -- writes

    def write_due(self) -> bool:
        """True when a silent device may be written to again without more delay than its back-off allows."""
        return self._loop.time() >= self._write_due_s

    def encoded(self, orders: UnitOrders, *, all_stages: bool) -> Writes:
        """Orders to this unit as writes, on what is known of it. Raises ValueError; see `encode`."""
        assert isinstance(self.noun, Unit)
        if all_stages and self._drop is not None and orders == OPEN_ALL:
            return self._drop
        key = (orders, self._concerned(orders) if self.heard else (), all_stages)
        if self._encoded is None or self._encoded[0] != key:  # scan after scan nothing changes
            known = self.known() if self.heard else ()
            self._encoded = key, encode(self.noun, orders, known, all_stages=all_stages)
        return self._encoded[1]

    def open_ahead(self, orders: UnitOrders) -> None:
        """Send the first write of a drop before the rest of its scan is made ready; `write` then finds it sent."""
        if self._drop_begins is not None and orders == OPEN_ALL and self.answering:
            self.link.begin_ahead(self._drop_begins)

    def _concerned(self, orders: UnitOrders) -> tuple[object, ...]:
        """What writes depend on: all that is known of the unit, or while no load moves only the fan's order in it."""
        if orders.lower or orders.raise_to is not None or orders.feed or self._fan is None:
            return self.known()
        block, first, end = self._fan
        answer = self._known(block)
        return answer.got, answer.words[first:end], answer.holes

    def write(self, requests: Sequence[Request], asking: Asking, *, careful: bool) -> Steps[Write]:
        """Send requests in order. careful: stop at the first that is not acknowledged; else only at silence."""
        worst = Write.NONE
        self._doubt()
        asking.timeout_s = self.timeout_s if self.answering else min(self.timeout_s, MUTE_TIMEOUT_S)
        for request in requests:
            ended = self.counts.write((yield write_question(self.noun.unit_id, request)))
            worst = max(worst, ended, key=_BADNESS.__getitem__)
            if ended is not Write.DONE and (careful or ended is not Write.REFUSED):
                break
        if self.silent and requests:
            if worst in (Write.DONE, Write.REFUSED):
                self._wake()
            else:
                self._write_due_s = self._loop.time() + self.timeout_s + self._rest_s
        return worst

    def result(self) -> Answers:
        """The answers of the scan."""
        return tuple(self.answers)


def _heard(answers: Sequence[Answer]) -> bool:
    """True when one of the answers is the device's own."""
    if answers and answers[0].got is Got.OK:
        return True
    return any(a.got in (Got.OK, Got.BAD) or (a.got is Got.EXCEPTION and a.code not in GATEWAY_CODES) for a in answers)


_BADNESS = {Write.NONE: 0, Write.DONE: 1, Write.NOT_SENT: 2, Write.REFUSED: 3, Write.UNKNOWN: 4}


def _fan_place(noun: Unit | Instrument, plan: Plan) -> tuple[int, int, int] | None:
    """Block and words (first, end) in it of a unit's fan order; None where it has none, or not in one place."""
    point = noun.profile.registers.point("fan_order") if isinstance(noun, Unit) else None
    if point is None or point.scale_from is not None:
        return None
    try:
        block, offset = plan.place(point)
    except KeyError:
        return None
    first = offset >> 4 if point.space.bits else offset
    return block, first, first + point.words
