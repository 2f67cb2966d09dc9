"""One scan from every node of a small world: the product decides, two observers judge.

A node is a compact state with its plants, and what the observers remember. What they say of a scan depends on their
memory, the inputs and the orders alone: the same three are judged once. A node is known by a digest of 128 bits.
"""

import pickle
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from hashlib import blake2b
from typing import Any
from unittest import mock

from benchctl.core import checks, perceive, prompts
from benchctl.core import decide as rungs
from benchctl.core.decision import Settings, first_state
from benchctl.core.dispatch import dispatch
from benchctl.core.inputs import Inputs
from benchctl.core.orders import Orders
from benchctl.core.state import State
from tests.explore.causes import ANSWERS
from tests.explore.compact import Compact
from tests.explore.notice import Noticed, first_noticed, notice
from tests.explore.world import DT_S, Choice, Plant, World, after_orders, commands, first_plants, given, scan
from tests.laws import observer
from tests.laws.observer import Memory, first_memory, watch
from tests.laws.rules import hand_laws

Seen = tuple[Memory, Noticed]
# What the guard answers for alone, whatever dispatch wishes.
RECKLESS_LAWS = (
    *("law 1", "law 2", "law 3", "law 4", "law 5: a closing", "law 7"),
    *("react: load", "react: a closing in an unload", "react: more"),
)


@dataclass(frozen=True, slots=True)
class Node:
    """One state of everything. packed: the bench and its plants; memory: a number of what the observers remember."""

    packed: bytes
    memory: int


@contextmanager
def short_times() -> Iterator[None]:
    """Times that are constants of the product, and not of a site, made as short as the rest of a small world."""
    with ExitStack() as stack:
        stack.enter_context(mock.patch.object(perceive, "STUCK_AIR_S", 2.0 * DT_S))
        stack.enter_context(mock.patch.object(observer, "STUCK_S", 2.0 * DT_S))
        stack.enter_context(mock.patch.object(checks, "READY_S", DT_S))
        soon = {kind: replace(row, open_s=2.0 * DT_S) for kind, row in prompts.BY_KIND.items()}
        stack.enter_context(mock.patch.dict(prompts.BY_KIND, soon))
        yield


class Expander:
    """Expands nodes of one world, and remembers what the observers said."""

    def __init__(self, world: World) -> None:
        self.world = world
        self.settings: Settings = world.settings()
        self.place = self.settings.site
        silent = any("silent" in names or "mute" in names for names in (*world.doings, world.sources))
        self.compact = Compact(self.settings, silent=silent)
        self.bursts = world.bursts()
        self._memories: list[Seen] = []
        self._digests: list[bytes] = []
        self._numbers: dict[Seen, int] = {}
        self._said: dict[Any, tuple[int, tuple[str, ...]]] = {}
        self._reckless = reckless(self.settings) if world.reckless else None

    def number(self, seen: Seen) -> int:
        """The number of a memory in this expander."""
        found = self._numbers.get(seen)
        if found is None:
            found = self._numbers[seen] = len(self._memories)
            self._memories.append(seen)
            self._digests.append(blake2b(pickle.dumps(seen, 4), digest_size=16).digest())
        return found

    def memory(self, number: int) -> tuple[bytes, Seen]:
        """The digest and the memory of a number."""
        return self._digests[number], self._memories[number]

    def digest(self, node: Node) -> bytes:
        """What a node is known by, the same in every process."""
        return blake2b(node.packed + self._digests[node.memory], digest_size=16).digest()

    def begin(self) -> tuple[Node, list[str]]:
        """The first node: after the world's opening scans, in which all is well; and the laws broken until then."""
        state, plants = first_state(self.settings), first_plants(self.world)
        seen: Seen = (first_memory(self.place), first_noticed(self.place))
        broken: list[str] = []
        for burst in self.world.begin:
            sent = tuple("done" if p.close is not None else "" for p in plants)
            choice = Choice(("well",) * len(plants), "well", self.world.moments[0], sent, burst)
            plants, inputs = scan(self.world, plants, choice)
            state, plants, seen, said = self.step(state, plants, seen, replace(inputs, commands=commands(burst)))
            broken += said
        asked = any(" kW" in command for burst in self.world.begin[:-2] for command in burst)
        if asked and not any(p.load for p in plants) and not self.world.reckless:
            broken.append("calm: no load comes on though nothing is wrong and it is asked for")
        return Node(self.compact.pack(state, plants), self.number(seen)), broken

    def step(
        self, state: State, plants: tuple[Plant, ...], seen: Seen, inputs: Inputs
    ) -> tuple[State, tuple[Plant, ...], Seen, list[str]]:
        """One scan, from a state that is not packed."""
        decision = self.decide(state, inputs)
        after, said = self.judge(seen, inputs, decision.orders, decision.state)
        return decision.state, after_orders(plants, decision.orders), after, said

    def decide(self, state: State, inputs: Inputs) -> Any:
        """The product's decision; in a reckless world without anything that dispatch would spare."""
        if self._reckless is None:
            return rungs.decide(state, inputs, self.settings)
        with mock.patch.object(rungs, "dispatch", self._reckless):
            return rungs.decide(state, inputs, self.settings)

    def judge(self, seen: Seen, inputs: Inputs, orders: Orders, after: State) -> tuple[Seen, list[str]]:
        """What the observers remember and say of a scan."""
        memory, noticed = seen
        watched, said = watch(memory, inputs, orders, self.place, gap_s=4.0 * DT_S)
        said += hand_laws(after, inputs, orders, self.place)
        noted, more = notice(noticed, memory, inputs, orders, self.place, DT_S, alarmed=alarmed(after))
        said += more
        if self.world.reckless:
            said = [law for law in said if law.startswith(RECKLESS_LAWS)]
        return (watched, noted), said

    def expand(self, node: Node) -> Iterator[tuple[Choice, tuple[str, ...], Node, tuple[str, ...]]]:
        """Every scan that may follow: what happens, with which commands, the node after it and the laws broken."""
        state, plants = self.compact.unpack(node.packed)
        for choice, moved, inputs in given(self.world, plants):
            for burst in self.bursts:
                told = replace_commands(inputs, burst)
                decision = self.decide(state, told)
                orders, by_hand = decision.orders, decision.state.by_hand
                asked = (node.memory, choice, moved, burst, orders, by_hand, alarmed(decision.state))
                known = self._said.get(asked)
                if known is None:
                    seen, said = self.judge(self._memories[node.memory], told, orders, decision.state)
                    known = self._said[asked] = (self.number(seen), tuple(said))
                packed = self.compact.pack(decision.state, after_orders(moved, orders))
                yield choice, burst, Node(packed, known[0]), known[1]
        if self.compact.pack(state, plants) != node.packed:
            yield choice, burst, node, ("law 8: decide has changed the state that it was given",)


def alarmed(state: State) -> bool:
    """Whether an alarm is active that one of the causes answers for."""
    return any(a.active and key in ANSWERS for (key, _), a in state.alarms.items())


def replace_commands(inputs: Inputs, burst: tuple[str, ...]) -> Inputs:
    """The same inputs with these commands."""
    if not burst:
        return inputs
    return Inputs(
        inputs.now_s, inputs.dt_s, inputs.units, inputs.instruments, commands(burst), inputs.writes, inputs.recorder,
        cut_short=inputs.cut_short, attached=inputs.attached,
    )  # fmt: skip


def reckless(settings: Settings) -> Any:
    """A dispatch that wishes for load whatever it sees: all there is, or other stages than those that are on."""
    through = dispatch
    full = [u.profile.full_load for u in settings.site.units]

    def wish(state: State, *args: Any) -> list[int]:
        through(state, *args)
        return [1, 0] if state.target_kw == 20.0 else [0, 2] if state.target_kw == 60.0 else full

    return wish
