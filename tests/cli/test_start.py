"""A verb starts quickly: what it does not need is not loaded before it runs."""

import subprocess
import sys

ASKED = """
import sys
from benchctl.cli import parser
parser()
print(*sorted(name for name in sys.modules if name.startswith(%r)))
"""
# What no verb needs in order to be told what it is asked.
HEAVY = (
    *("benchctl.core", "benchctl.files", "benchctl.field", "benchctl.door", "benchctl.tui", "benchctl.record"),
    *("pydantic", "textual", "pymodbus", "aiomqtt", "paho", "typst", "jinja2", "comtrade", "yaml", "sqlite3"),
)


def test_the_arguments_of_all_verbs_are_known_without_loading_what_the_verbs_are_made_of():
    words = [sys.executable, "-c", ASKED % (HEAVY,)]
    loaded = subprocess.run(words, capture_output=True, text=True, check=True).stdout.split()
    assert loaded == []
