"""YAML text → a tree of values that know their place.

A subset of YAML on purpose: one document, no anchors, no tags, no tabs, no key twice. Plain words are
resolved by the core schema of YAML 1.2 (https://yaml.org/spec/1.2.2/#103-core-schema), so `no` and `1:30`
stay the texts they look like; and a number with a leading zero stays a text, because serial numbers lose
their zeros otherwise. The tree is built from the parser's events rather than by its own composer, which
recurses and so falls over deeply nested input.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field

import yaml

from benchctl.files.fault import FileFault, Flaw

DEEPEST = 24
LONGEST_NUMBER = 40
NOT_TEXT = re.compile("[^\n\r\x20-\x7e\x85\xa0-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
NULLS = frozenset(("", "~", "null", "Null", "NULL"))
BOOLS = {"true": True, "True": True, "TRUE": True, "false": False, "False": False, "FALSE": False}
INTEGER = re.compile(r"[-+]?(0|[1-9][0-9]*)")
REAL = re.compile(r"[-+]?(\.[0-9]+|(0|[1-9][0-9]*)(\.[0-9]*)?)([eE][-+]?[0-9]+)?|[-+]?\.(inf|Inf|INF)|\.(nan|NaN|NAN)")

Path = tuple[str | int, ...]
Told = tuple[int, int, str]  # line, column, what is wrong


class Whole(int):
    """A whole number that remembers how it was written."""

    written: str


class Real(float):
    """A number that remembers how it was written."""

    written: str


@dataclass(slots=True)
class Node:
    """One value of the file: a mapping, a list or a scalar. line and column count from 1."""

    line: int
    column: int
    value: object = None  # of a scalar
    items: "list[Node] | None" = None
    table: "dict[str, Node] | None" = None
    keys: dict[str, tuple[int, int]] = field(default_factory=dict)  # place of each key of the table

    def find(self, path: Path) -> "tuple[Node, bool]":
        """The node at a path, or the deepest one on the way (then False)."""
        node = self
        for part in path:
            if node.table is not None and part in node.table:
                node = node.table[str(part)]
            elif node.items is not None and isinstance(part, int) and 0 <= part < len(node.items):
                node = node.items[part]
            else:
                return node, False
        return node, True


def plain(node: Node) -> object:
    """The tree as dicts, lists and scalars."""
    if node.table is not None:
        return {key: plain(value) for key, value in node.table.items()}
    if node.items is not None:
        return [plain(item) for item in node.items]
    return node.value


def resolve(text: str) -> object:
    """A plain (unquoted) scalar's value."""
    if text in NULLS:
        return None
    if text in BOOLS:
        return BOOLS[text]
    number: Whole | Real
    if len(text) > LONGEST_NUMBER:
        return text
    if INTEGER.fullmatch(text):
        number = Whole(text)
    elif re.fullmatch("0x[0-9a-fA-F]+|0o[0-7]+", text):
        number = Whole(text, 0)
    elif REAL.fullmatch(text):
        number = Real(text.lower().replace(".inf", "inf").replace(".nan", "nan"))
    else:
        return text
    number.written = text
    return number


def parse(text: str, path: str) -> Node:
    """The tree of a file's text. Raises FileFault; path is only shown."""
    lines = text.splitlines() or [""]

    def fault(flaws: list[Told]) -> FileFault:
        return FileFault(
            Flaw(path, line, column, told, lines[line - 1] if line <= len(lines) else "")
            for line, column, told in flaws
        )

    strange = NOT_TEXT.search(text)
    if strange:
        before = (text[: strange.start()] + "x").splitlines()
        told = (
            "a tab; indent and separate with spaces"
            if strange.group() == "\t"
            else f"the character U+{ord(strange.group()):04X}, which is no text"
        )
        raise fault([(len(before), len(before[-1]), told)])
    builder = _Builder()
    try:
        for event in _events(text):
            builder.take(event)
    except yaml.YAMLError as error:
        raise fault([_unreadable(error)]) from None
    except _TooDeepError as deep:
        raise fault([(*deep.place, f"nested deeper than {DEEPEST} levels")]) from None
    if builder.flaws:
        raise fault(builder.flaws)
    if builder.root is None:
        raise FileFault([Flaw(path, 1, 1, "the file is empty")])
    return builder.root


def _unreadable(error: yaml.YAMLError) -> Told:
    if not isinstance(error, yaml.MarkedYAMLError) or error.problem_mark is None:
        return 1, 1, "not readable as YAML"
    line, column = error.problem_mark.line + 1, error.problem_mark.column + 1
    told, since = f"not readable as YAML: {error.problem}", error.context_mark
    if error.context and since is not None and since.line + 1 != line:
        told += f" ({error.context} that begins at {since.line + 1}:{since.column + 1})"
    return line, column, told


class _TooDeepError(Exception):
    def __init__(self, place: tuple[int, int]) -> None:
        self.place = place
        super().__init__(place)


def _events(text: str) -> Iterator[yaml.Event]:
    loader = getattr(yaml, "CSafeLoader", yaml.SafeLoader)(text)
    try:
        while loader.check_event():
            yield loader.get_event()
    finally:
        loader.dispose()


class _Builder:
    """Takes the parser's events, keeps the open collections on a stack."""

    def __init__(self) -> None:
        self.root: Node | None = None
        self.flaws: list[Told] = []
        self.open: list[
            tuple[Node, list[str]]
        ] = []  # a collection and, for a mapping, the key that waits for its value
        self.documents = 0

    def take(self, event: yaml.Event) -> None:
        mark = event.start_mark
        place = (mark.line + 1, mark.column + 1) if mark else (1, 1)
        if getattr(event, "anchor", None) is not None:
            self.flaws.append((*place, "anchors and aliases (& and *) are not used here: write the value out"))
        tag = getattr(event, "tag", None)
        if tag not in (None, "!"):
            self.flaws.append((*place, f"tags such as {str(tag)[:40]} are not used here"))
        match event:
            case yaml.DocumentStartEvent():
                self.documents += 1
                if self.documents == 2:
                    self.flaws.append((*place, "a second document begins here; one file holds one"))
                if event.version or event.tags:
                    self.flaws.append((*place, "directives (%) are not used here"))
            case yaml.ScalarEvent():
                self._add(
                    Node(*place, event.value if event.style or event.tag else resolve(event.value)),
                    event.value,
                )
            case yaml.AliasEvent():
                self._add(Node(*place, value="*"), "*")
            case yaml.MappingStartEvent():
                self._begin(Node(*place, table={}), place)
            case yaml.SequenceStartEvent():
                self._begin(Node(*place, items=[]), place)
            case yaml.CollectionEndEvent():
                self.open.pop()

    def _begin(self, node: Node, place: tuple[int, int]) -> None:
        if len(self.open) >= DEEPEST:
            raise _TooDeepError(place)
        self._add(node, None)
        self.open.append((node, []))

    def _add(self, node: Node, written: str | None) -> None:
        if not self.open:
            self.root = self.root or node
            return
        parent, waiting = self.open[-1]
        if parent.items is not None:
            parent.items.append(node)
        elif parent.table is not None and waiting:
            key = waiting.pop()
            if node.value is None and node.table is None and node.items is None:
                self.flaws.append(
                    (*parent.keys[key], f"nothing is written after '{key[:60]}'; leave the key out instead")
                )
            parent.table.setdefault(key, node)
        elif parent.table is not None:
            self._key(parent, node, written, waiting)

    def _key(self, parent: Node, node: Node, written: str | None, waiting: list[str]) -> None:
        if written is None:
            self.flaws.append((node.line, node.column, "a list or mapping is no key"))
        key = "" if written is None else written
        if key in parent.keys and written is not None:
            line, column = parent.keys[key]
            self.flaws.append((node.line, node.column, f"key '{key[:60]}' is here twice (first at {line}:{column})"))
        parent.keys.setdefault(key, (node.line, node.column))
        waiting.append(key)
