"""The search: breadth first to a fixed point, so that the way to a broken law is a shortest one.

Nodes are shared out among partitions by their digest. Each partition expands its own nodes of a level and hands over
what belongs to others; when all are through, the next level begins. One partition runs here, several in processes.
"""

import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from multiprocessing import get_context
from multiprocessing.connection import Connection
from typing import Any

from tests.explore.expand import Expander, Node, Seen, short_times
from tests.explore.world import Choice, World

Step = tuple[bytes, Choice, tuple[str, ...]]  # the node before, and what happened in it
Mail = tuple[list[tuple[bytes, bytes, Step]], dict[bytes, Seen]]  # (packed, memory, step there); memories not sent yet


@dataclass(slots=True)
class Found:
    """What an exploration found. broken: the laws, each with the inputs that lead there first."""

    states: int = 0
    transitions: int = 0
    seconds: float = 0.0
    depth: int = 0
    closed: bool = False
    broken: dict[str, tuple[Choice, ...]] = field(default_factory=dict)


@dataclass(slots=True)
class Level:
    """What a partition reports of one level. mail: for each partition; left: nodes of its own that wait."""

    states: int
    transitions: int
    broken: dict[str, Step]
    mail: list[Mail]
    left: int
    through: bool  # False: time, states or a broken law ended it early


class Partition:
    """The nodes whose digest is this partition's."""

    def __init__(self, world: World, index: int = 0, count: int = 1) -> None:
        self.expander = Expander(world)
        self.index, self.count = index, count
        self.parents: dict[bytes, Step | None] = {}
        self.level: list[Node] = []
        self._memories: dict[bytes, int] = {}
        self._sent: list[set[bytes]] = [set() for _ in range(count)]
        self._told: list[set[bytes]] = [set() for _ in range(count)]

    def begin(self) -> list[str]:
        """Put the first node where it belongs; returns the laws broken on the way to it."""
        first, broken = self.expander.begin()
        digest = self.expander.digest(first)
        if self._owner(digest) == self.index:
            self.parents[digest] = None
            self.level = [first]
        return broken

    def _owner(self, digest: bytes) -> int:
        return digest[0] % self.count

    def take(self, mail: Mail) -> None:
        """Nodes that another partition has reached."""
        nodes, memories = mail
        for known, seen in memories.items():
            self._memories[known] = self.expander.number(seen)
        for packed, memory, step in nodes:
            node = Node(packed, self._memories[memory])
            self._reached(self.expander.digest(node), node, step, self.level)

    def _reached(self, digest: bytes, node: Node, step: Step, level: list[Node]) -> None:
        if digest not in self.parents:
            self.parents[digest] = step
            level.append(node)

    def run(self, deadline: float, most: int, until: str | None) -> Level:
        """Expand the level."""
        following: list[Node] = []
        mail: list[Mail] = [([], {}) for _ in range(self.count)]
        done, through = Level(0, 0, {}, mail, 0, through=True), True
        for node in self.level:
            if time.time() > deadline or len(self.parents) > most or _stops(done.broken, until):
                through = False
                break
            here = self.expander.digest(node)
            for choice, burst, after, broken in self.expander.expand(node):
                done.transitions += 1
                step = (here, choice, burst)
                for law in broken:
                    done.broken.setdefault(law, step)
                digest = self.expander.digest(after)
                owner = self._owner(digest)
                if owner == self.index:
                    self._reached(digest, after, step, following)
                elif digest not in self._sent[owner]:
                    self._sent[owner].add(digest)
                    self._post(mail[owner], owner, after, step)
        self.level = following
        done.states, done.left, done.through = len(self.parents), len(following), through
        return done

    def _post(self, mail: Mail, owner: int, node: Node, step: Step) -> None:
        known, seen = self.expander.memory(node.memory)
        if known not in self._told[owner]:
            self._told[owner].add(known)
            mail[1][known] = seen
        mail[0].append((node.packed, known, step))


def _stops(broken: dict[str, Any], until: str | None) -> bool:
    return until is not None and any(law.startswith(until) for law in broken)


Ask = Any  # a method of Partition, and what it is given


class Remote:
    """A partition in a process of its own."""

    def __init__(self, world: World, index: int, count: int) -> None:
        context = get_context("spawn")
        self._pipe, theirs = context.Pipe()
        self.process = context.Process(target=serve, args=(theirs, world, index, count), daemon=True)
        self.process.start()

    def ask(self, name: str, *given: Any) -> None:
        """Have a method of the partition called."""
        self._pipe.send((name, given))

    def answer(self) -> Any:
        """What it has returned."""
        return self._pipe.recv()


def serve(pipe: Connection, world: World, index: int, count: int) -> None:
    """The life of such a process."""
    with short_times():
        partition = Partition(world, index, count)
        while True:
            name, given = pipe.recv()
            if name == "end":
                return
            pipe.send(partition.parents.get(*given) if name == "parents" else getattr(partition, name)(*given))


class Local:
    """A partition here, asked like a remote one."""

    def __init__(self, world: World) -> None:
        self.partition = Partition(world)
        self._said: Any = None

    def ask(self, name: str, *given: Any) -> None:
        """Call a method of the partition."""
        partition = self.partition
        self._said = partition.parents.get(*given) if name == "parents" else getattr(partition, name)(*given)

    def answer(self) -> Any:
        """What it has returned."""
        return self._said


@contextmanager
def _partitions(world: World, workers: int) -> Iterator[list[Any]]:
    if workers == 1:
        with short_times():
            yield [Local(world)]
        return
    remotes = [Remote(world, i, workers) for i in range(workers)]
    try:
        yield remotes
    finally:
        for remote in remotes:
            remote.process.terminate()
            remote.process.join()


def explore(
    world: World, *, seconds: float = 1e9, most: int = 10_000_000, until: str | None = None, workers: int = 1
) -> Found:
    """Explore until nothing new is reached, or time or states run out, or a law is broken.

    most: states of one partition. until: stop at the first broken law that begins with this; "" stops at any.
    """
    with _partitions(world, workers) as partitions:
        return _explore(partitions, time.time() + seconds, most, until)


def _explore(partitions: list[Any], deadline: float, most: int, until: str | None) -> Found:
    found, begun = Found(), time.perf_counter()
    for law in _all(partitions, "begin")[0]:
        found.broken.setdefault(law, ())
    while not _stops(found.broken, until):
        levels: list[Level] = _all(partitions, "run", deadline, most, until)
        found.depth += any(level.transitions for level in levels)
        for i, partition in enumerate(partitions):
            for j, level in enumerate(levels):
                if i != j:
                    partition.ask("take", level.mail[i])
                    partition.answer()
        found.states = sum(level.states for level in levels)
        found.transitions += sum(level.transitions for level in levels)
        for level in levels:
            for law, step in level.broken.items():
                if law not in found.broken:
                    found.broken[law] = _way(partitions, step)
        if not all(level.through for level in levels):
            break
        if not any(level.left or any(nodes for nodes, _ in level.mail) for level in levels):
            found.closed = True
            break
    found.seconds = time.perf_counter() - begun
    return found


def _all(partitions: list[Any], name: str, *given: Any) -> list[Any]:
    for partition in partitions:
        partition.ask(name, *given)
    return [partition.answer() for partition in partitions]


def _way(partitions: list[Any], last: Step | None) -> tuple[Choice, ...]:
    """The inputs that lead up to a step, first to last."""
    way: list[Choice] = []
    while last is not None:
        before, choice, burst = last
        way.append(replace(choice, burst=burst))
        owner = partitions[before[0] % len(partitions)]
        owner.ask("parents", before)
        last = owner.answer()
    return tuple(reversed(way))
