"""What people type into a run, in a spreadsheet's table of it: words stay words, and numbers stay numbers (case F3).

From processes to a file; Python's csv module is the reader.
"""

import codecs
import csv
import io
import re

import pytest

from benchctl.record.reader import Reader
from tests.system.live import console, records, started
from tests.system.small import place

NOTES = ('=HYPERLINK("http://x","ok")', "-5 kW drift noted", "Jürgen-Straße µ; 9,10")
NUMBER = {"point": re.compile(r"-?\d+(\.\d+)?(e-?\d+)?"), "comma": re.compile(r"-?\d+(,\d+)?(e-?\d+)?")}
SEPARATOR = {"point": ",", "comma": ";"}


@pytest.mark.slow
def test_F3_notes_that_look_like_formulas_are_words_in_a_table_of_the_run_and_every_number_is_one(tmp_path):
    with place(tmp_path) as here:
        here.simulator()
        started(here)
        watcher = console(here, "attach", "--operator", "Robin")
        for note in NOTES:
            watcher.type(f"remark {note}")
            watcher.until(f"remark {note} (Robin)")
        watcher.type("reading oil_kpa=420")
        watcher.until("oil pressure 420 kPa")
        (path,) = records(here)
        with Reader(path) as reader:
            before = reader.scan_count
        for flavour, separator in SEPARATOR.items():
            out = here.folder / f"{flavour}.csv"
            done = here.verb("export", "latest", "--csv", "--flavour", flavour, "--out", str(out))
            assert done.returncode == 0, done.stderr
            data = out.read_bytes()
            assert data.startswith(codecs.BOM_UTF8)
            text = data.decode("utf-8-sig")
            head, *rows = csv.reader(io.StringIO(text, newline=""), delimiter=separator)
            assert len(rows) >= before
            assert {len(row) for row in rows} == {len(head)}
            cells = [cell for row in rows for cell in row]
            assert not [cell for cell in cells if cell[:1] in ("=", "+", "@", "\t", "\r")]
            assert not [cell for cell in cells if cell[:1] == "-" and not NUMBER[flavour].fullmatch(cell)]
            at = head.index("delivered_kw")
            known = [row[at] for row in rows if row[at]]
            assert known
            assert all(NUMBER[flavour].fullmatch(cell) for cell in known)
            events = "\n".join(cells)
            for note in NOTES:
                assert f"remark {note}" in events, "and nothing of a note is lost"
