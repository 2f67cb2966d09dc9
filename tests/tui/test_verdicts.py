"""Verdicts for real: a console in a terminal, a run host in its own process, a program from its plan to its record."""

import sys
import time

import pytest

from benchctl.cli.verdicts import judged
from tests.system.small import place
from tests.tui.terminals import Terminal

pytestmark = [pytest.mark.slow, pytest.mark.skipif(sys.platform == "win32", reason="signals and terminals of POSIX")]

RULES = """\
title: Small proof
document: our own
edition: "1"
rules:
  - duty: {key: low, at_least: 20 %, for: 20 s, known: common practice}
  - step: {key: start, text: a cold start, known: common practice}
"""
OTHER = """\
title: Too much
document: our own
edition: "1"
rules:
  - duty: {key: high, at_least: 90 %, for: 20 s, known: common practice}
"""
PROGRAM = """\
title: Short
check_load: false
rule_sets: [proof]
segments:
  - ramp: {to: 40 kW, over: 2 s}
  - hold: {for: 40 s}
"""


@pytest.fixture
def here(tmp_path):
    """A place with a program, the rule set that it names, and one that can be picked."""
    with place(tmp_path) as made:
        made.env["TMPDIR"] = str(tmp_path)
        (tmp_path / "short.yaml").write_text(PROGRAM, encoding="utf-8")
        folder = tmp_path / "configs" / "rulesets"
        folder.mkdir(parents=True)
        (folder / "proof.yaml").write_text(RULES, encoding="utf-8")
        (folder / "aaa-too-much.yaml").write_text(OTHER, encoding="utf-8")
        yield made


def test_the_console_shows_what_rule_sets_say_before_a_run_and_after_it(here):
    words = ["-m", "benchctl", "console", "--site", str(here.site), "--rehearse", "--speed", "30", "--operator", "Kim"]
    console = Terminal(words, here.env, here.folder, (100, 40))
    try:
        console.until("bank 2")
        console.key(b"f")
        console.until("another file")
        console.key(b"\x1b[F")
        console.key(b"\r")
        console.until("Path of a program file")
        console.type(b"./short.yaml", apart_s=0.1)
        console.until("./short.yaml")
        time.sleep(0.5)  # an Enter right behind letters is a paste
        console.key(b"\r")
        console.until("Rule sets: proof: for people.")
        console.key(b"\r")
        console.until("proof: 1 for people, 1 satisfied")

        since = len(console.data)
        console.key(b"j")
        console.until("[ ] aaa-too-much", since)
        console.key(b"\r")
        console.until("[x] aaa-too-much", since)
        console.key(b"\x1b")
        console.until("aaa-too-much: 1 not satisfied", since)

        console.key(b"g")
        console.until("hard-wired emergency stop")
        console.key(b"\r")
        console.until("no real bank is switched")
        console.key(b"\r")
        console.until("RUNNING")
        console.until("proof: not demonstrated")
        since = len(console.data)
        console.key(b"\r")
        console.until("Verdicts on small-short", since)
        console.until("low: at least 20 % of nameplate kW", since)
        since = len(console.data)
        console.key(b"w")
        console.until("= ", since)
    finally:
        console.close()
    (run,) = (here.folder / "runs").glob("*.run")
    (proof,) = judged(run)["sets"]
    assert [rule["standing"] for rule in proof["rules"]] == ["shown", "not demonstrated"]
