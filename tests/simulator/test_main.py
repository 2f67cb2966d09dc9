"""`python -m simulator` as a process of its own."""

import contextlib
import json
import re
import signal
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from simulator.__main__ import main


def test_a_site_that_is_not_there_is_told_and_ends_with_2(capsys):
    assert main(["no-such-site-anywhere"]) == 2
    told = capsys.readouterr().err
    assert "no-such-site-anywhere" in told
    assert "Traceback" not in told


@pytest.mark.parametrize("stop", [signal.SIGINT, signal.SIGTERM])
def test_it_says_where_each_unit_is_tells_the_truth_and_ends_cleanly(stop, tmp_path: Path):
    truth = tmp_path / "truth.jsonl"
    command = [sys.executable, "-m", "simulator", "northquay", "--any-port", "--truth", str(truth), "--speed", "5"]
    with subprocess.Popen(command, stderr=subprocess.PIPE, text=True) as process:
        assert process.stderr is not None
        lines = []
        for line in process.stderr:
            lines.append(line.strip())
            if line.strip() == "ready":
                break
        while not truth.exists() or truth.read_text().count("\n") < 3:
            assert process.poll() is None
        process.send_signal(stop)
        rest = process.stderr.read()
        assert process.wait(timeout=10) == 0
    assert rest == ""
    assert any(line.startswith("bank 1: 127.0.0.1:") and "unit id" in line for line in lines)
    first = json.loads(truth.read_text().splitlines()[0])
    assert {"t", "load_kw", "source", "units"} == set(first)


def test_a_port_that_is_in_use_is_told_and_ends_with_2(tmp_path: Path, capsys):
    """A copy of the shipped site whose ports are free ones, but for one that somebody else listens on."""
    with socket.socket() as taken, contextlib.ExitStack() as stack:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        free = [stack.enter_context(socket.socket()) for _ in range(8)]
        for one in free:
            one.bind(("127.0.0.1", 0))
        ports = [taken.getsockname()[1], *(one.getsockname()[1] for one in free)]
        text = (Path(__file__).parents[2] / "configs" / "sites" / "northquay.yaml").read_text(encoding="utf-8")
        for old in sorted(set(re.findall(r"(?<=127\.0\.0\.1:)[0-9]+", text))):
            text = text.replace(f"127.0.0.1:{old}", f"127.0.0.1:{ports.pop(0)}")
        site = tmp_path / "copy.yaml"
        site.write_text(text, encoding="utf-8")
        assert main([str(site)]) == 2
    told = capsys.readouterr().err
    assert "in use" in told
    assert "Traceback" not in told
