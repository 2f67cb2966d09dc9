"""Every form that records have had, so that each stays readable: its tables, and how a scan is read out of it.

A row here is never changed or taken out: whoever changes the tables in schema.py puts the old ones here first, gives
the new ones another number, and keeps a sample of the old form among the tests.
"""

import sqlite3
import zlib
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import quote

from benchctl.files.bounded import inflated
from benchctl.record.fault import RecordFault
from benchctl.record.schema import COLUMNS, SCHEMA, TABLES, columns_of

LARGEST_ROW = 64 << 20  # bytes
NOUN = "(SELECT data FROM noun WHERE n = scan.{})"


@dataclass(frozen=True, slots=True)
class Form:
    """One form. given: SQL for a column of today's `scan` that the form keeps in another way, or has not."""

    schema: int
    tables: dict[str, str]
    given: dict[str, str] = field(default_factory=dict)

    @property
    def columns(self) -> dict[str, tuple[str, ...]]:
        """The names of the columns of each table, without h."""
        return COLUMNS if self.tables is TABLES else columns_of(self.tables)

    def scan(self, *names: str) -> str:
        """SQL for these columns of today's `scan`."""
        return ", ".join(self.given.get(name, name) for name in names)


def _first(scan: str) -> dict[str, str]:
    """The tables of schema 1: orders and the rest of the inputs lie in each scan."""
    return {table: scan if table == "scan" else columns for table, columns in TABLES.items() if table != "noun"}


_HEAD = (
    "n INTEGER PRIMARY KEY, wall_ns INTEGER NOT NULL, now_s REAL NOT NULL, dt_s REAL NOT NULL, "
    "target_kw REAL, delivered_kw REAL, source_kw REAL, volts_v REAL, hertz REAL, hottest_c REAL, "
    "units_heard INTEGER NOT NULL, shape TEXT NOT NULL, raw BLOB NOT NULL, rest BLOB NOT NULL, orders BLOB NOT NULL, "
)
_RAW = {"raw": "unsqueezed(shape, raw)"}  # sweeps were zlib streams

FORMS: tuple[Form, ...] = (
    Form(SCHEMA, TABLES, {name: NOUN.format(name) for name in ("rest", "orders")}),
    Form(1, _first(_HEAD + "spread_s REAL, fault TEXT, state_hash BLOB NOT NULL"), _RAW),
    Form(1, _first(_HEAD + "fault TEXT, state_hash BLOB NOT NULL"), {**_RAW, "spread_s": "NULL"}),
)


def form_of(db: sqlite3.Connection) -> Form | str:
    """The form of a record, or the schema number that it says where there is none of that number.

    Where its tables are none of that number's, the newest form of the number: what is wrong then shows. Raises
    sqlite3.Error.
    """
    row = db.execute("SELECT v FROM meta WHERE k = 'schema'").fetchone()
    found = "unknown" if row is None else str(row[0])
    forms = [form for form in FORMS if str(form.schema) == found]
    if not forms:
        return found
    scan = {name for (name,) in db.execute("SELECT name FROM pragma_table_info('scan')")} - {"h"}
    db.create_function("unsqueezed", 2, _unsqueezed, deterministic=True)
    return next((form for form in forms if set(form.columns["scan"]) == scan), forms[0])


def connect(path: Path, on_bad_text: str = "replace") -> tuple[sqlite3.Connection, Form]:
    """A connection that only reads, and the record's form. Raises RecordFault when it is not there or is no record."""
    if not path.is_file():
        raise RecordFault(f"{path}: no such file")
    try:
        db = sqlite3.connect(f"file:{quote(str(path.resolve()))}?mode=ro", uri=True, isolation_level=None)
        db.text_factory = lambda data: data.decode("utf-8", on_bad_text)
        db.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, LARGEST_ROW)
        what = _not_plain(db)
        form = form_of(db) if what is None else what
    except sqlite3.OperationalError as fault:
        hint = "" if "no such" in str(fault) else "; if its folder cannot be written to, copy it to one that can"
        raise RecordFault(f"{path}: not a record that can be read: {fault}{hint}") from None
    except sqlite3.DatabaseError as fault:
        raise RecordFault(f"{path}: not a record: {fault}") from None
    if what is not None:
        db.close()
        raise RecordFault(f"{path}: not a record: {what}, and a record has tables only")
    if isinstance(form, str):
        db.close()
        known = " or ".join(sorted({str(form.schema) for form in FORMS}))
        raise RecordFault(f"{path}: record schema {form}, expected {known}")
    return db, form


def _not_plain(db: sqlite3.Connection) -> str | None:
    """What would run when it is read: a view, a table of another module, a column that is worked out; else None.

    Nothing of the file has been read before but its list of tables. Raises sqlite3.Error.
    """
    if db.execute("SELECT 1 FROM sqlite_master WHERE type = 'view'").fetchone():
        return "it has a view"
    if db.execute("SELECT 1 FROM sqlite_master WHERE type = 'table' AND rootpage = 0").fetchone():
        return "it has a virtual table"
    worked_out = "SELECT 1 FROM sqlite_master AS m, pragma_table_xinfo(m.name) AS c WHERE m.type = 'table' AND c.hidden"
    return "it has a column that is worked out" if db.execute(worked_out).fetchone() else None


def _unsqueezed(shape: str, raw: bytes) -> bytes:
    """A packed sweep. What is damaged stays as it is: whoever unpacks it tells the scan."""
    if shape != "sweep":
        return raw
    try:
        return inflated(raw)
    except (zlib.error, TypeError, ValueError):
        return raw
