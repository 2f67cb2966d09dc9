"""The record's tables, and the chain of hashes that runs through each of them.

One SQLite file a run. Every row ends with h = SHA-256(h of the row before, canonical bytes of the row's other values),
so a changed, removed or exchanged row is found, and where. The chain of `meta` starts from a fixed word; every other
table's chain starts from the last h of `meta` and the table's name, so that rows of another run do not fit. The heads
of all chains are kept in the row of `end`. Nobody is kept from rewriting a whole file: that is what the seal is for.

Rows of `scan` name rows of `noun` that came before them: orders and the rest of the inputs, each kept once while it is
remembered.

Records of earlier forms are told in forms.py.

Canonical bytes of a value: `n` for NULL; `i`, decimal digits, `;` for an integer; `r` and 8 bytes IEEE 754, most
significant first, for a real; `t` or `b`, length in bytes, `;`, the bytes (UTF-8) for a text or a blob.
"""

import hashlib
import struct
from collections.abc import Iterable, Mapping
from typing import Any

SCHEMA = 2
RULE = "a record is only ever added to"

# Columns without h. What is inside the blobs is told in rows.py.
TABLES: dict[str, str] = {
    "meta": "n INTEGER PRIMARY KEY, k TEXT NOT NULL UNIQUE, v TEXT NOT NULL",
    "file": "n INTEGER PRIMARY KEY, kind TEXT NOT NULL, ref TEXT NOT NULL, path TEXT NOT NULL, text TEXT NOT NULL, "
    "sha256 TEXT NOT NULL",
    "settings": "n INTEGER PRIMARY KEY, nouns BLOB NOT NULL",
    "noun": "n INTEGER PRIMARY KEY, kind TEXT NOT NULL, data BLOB NOT NULL",
    "scan": "n INTEGER PRIMARY KEY, wall_ns INTEGER NOT NULL, now_s REAL NOT NULL, dt_s REAL NOT NULL, "
    "target_kw REAL, delivered_kw REAL, source_kw REAL, volts_v REAL, hertz REAL, hottest_c REAL, "
    "units_heard INTEGER NOT NULL, shape TEXT NOT NULL, raw BLOB NOT NULL, spread_s REAL, "
    "fault TEXT, state_hash BLOB NOT NULL, rest INTEGER NOT NULL REFERENCES noun, "
    "orders INTEGER NOT NULL REFERENCES noun",
    "state": "n INTEGER PRIMARY KEY, state BLOB NOT NULL",
    "event": "n INTEGER PRIMARY KEY, scan INTEGER NOT NULL, wall_ns INTEGER NOT NULL, now_s REAL NOT NULL, "
    "kind TEXT NOT NULL, unit INTEGER NOT NULL, who TEXT NOT NULL, text TEXT NOT NULL, data TEXT NOT NULL",
    "gap": "n INTEGER PRIMARY KEY, first_scan INTEGER NOT NULL, last_scan INTEGER NOT NULL, wall_ns INTEGER NOT NULL, "
    "text TEXT NOT NULL",
    "end": "n INTEGER PRIMARY KEY, wall_ns INTEGER NOT NULL, outcome TEXT NOT NULL, totals TEXT NOT NULL, "
    "heads TEXT NOT NULL",
}


def columns_of(tables: Mapping[str, str]) -> dict[str, tuple[str, ...]]:
    """The names of the columns of each table, without h."""
    return {table: tuple(column.split()[0] for column in columns.split(", ")) for table, columns in tables.items()}


COLUMNS = columns_of(TABLES)


def statements(tables: Mapping[str, str] = TABLES) -> Iterable[str]:
    """What creates the tables, and the triggers that refuse changes, removals and rows out of order."""
    for table, columns in tables.items():
        yield f'CREATE TABLE "{table}"({columns}, h BLOB NOT NULL) STRICT'
        for change in ("UPDATE", "DELETE"):
            yield (
                f'CREATE TRIGGER "{table}_{change.lower()}" BEFORE {change} ON "{table}" '
                f"BEGIN SELECT RAISE(ABORT, '{RULE}'); END"
            )
        yield (
            f'CREATE TRIGGER "{table}_insert" BEFORE INSERT ON "{table}" '  # noqa: S608 - our own names
            f'WHEN NEW.n <= (SELECT max(n) FROM "{table}") '
            f"BEGIN SELECT RAISE(ABORT, '{RULE}'); END"
        )


_INSERTIONS = {
    table: f'INSERT INTO "{table}" VALUES({", ".join("?" * (len(columns) + 1))})' for table, columns in COLUMNS.items()
}


def insertion(table: str) -> str:
    """The statement that adds a row."""
    return _INSERTIONS[table]


def selection(table: str, columns: str = "") -> str:
    """The statement that reads all rows, with their h where no columns are given; more may be added to it."""
    return f'SELECT {columns or ", ".join((*COLUMNS[table], "h"))} FROM "{table}"'  # noqa: S608 - our own names


def canonical(values: Iterable[Any]) -> bytes:
    """Canonical bytes of a row's values without h."""
    parts: list[bytes] = []
    for value in values:
        if value is None:
            parts.append(b"n")
        elif isinstance(value, float):
            parts.append(b"r" + struct.pack(">d", value))
        elif isinstance(value, int):
            parts.append(b"i%d;" % value)
        elif isinstance(value, str):
            text = value.encode("utf-8", "surrogateescape")
            parts.append(b"t%d;%b" % (len(text), text))
        else:
            parts.append(b"b%d;%b" % (len(value), value))
    return b"".join(parts)


def first_link(table: str, meta_head: bytes = b"", schema: int = SCHEMA) -> bytes:
    """What stands in for the h before the first row."""
    return hashlib.sha256(f"benchctl record {schema} {table}".encode() + meta_head).digest()


def link(before: bytes, values: Iterable[Any]) -> bytes:
    """The h of a row."""
    return hashlib.sha256(before + canonical(values)).digest()
