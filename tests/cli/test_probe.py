"""The verb probe against the simulator on ephemeral loopback ports, as a user runs it."""

import asyncio
import json
import os
import re
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from benchctl.claim import ClaimFault, claim
from benchctl.cli import main
from benchctl.core.site import Instrument, Unit
from benchctl.field import look as look_module
from benchctl.files import read_site
from simulator.bench import Bench
from simulator.server import Server

SHIPPED = Path(__file__).parents[2] / "configs" / "sites" / "northquay.yaml"


@dataclass
class Served:
    """A served site: its file with the true ports, and host:port by device name."""

    path: str
    at: dict[str, str]


@pytest.fixture(scope="module")
def served(tmp_path_factory) -> Iterator[Served]:
    """The shipped site's simulator in a thread of its own."""
    place, _ = read_site("northquay")
    started = threading.Event()
    halt: list[Callable[[], object]] = []
    at: dict[str, str] = {}
    text = SHIPPED.read_text(encoding="utf-8")

    async def serve() -> None:
        nonlocal text
        loop = asyncio.get_running_loop()
        began = loop.time()
        server = Server(Bench(place), lambda: loop.time() - began, dead_time=False)
        where = await server.start("127.0.0.1", "ephemeral")
        devices: list[Unit | Instrument] = [*place.units, *place.instruments]
        for device in devices:
            host, port = where[device.endpoint]
            at[device.name] = f"{host}:{port}"
            text = text.replace(f"127.0.0.1:{device.endpoint.port}", f"{host}:{port}")
        stop = asyncio.Event()
        halt.append(lambda: loop.call_soon_threadsafe(stop.set))
        started.set()
        await stop.wait()
        await server.stop()

    thread = threading.Thread(target=lambda: asyncio.run(serve()))
    thread.start()
    assert started.wait(20)
    path = tmp_path_factory.mktemp("site") / "northquay.yaml"
    path.write_text(text, encoding="utf-8")
    yield Served(str(path), at)
    halt[0]()
    thread.join(10)


@pytest.fixture(autouse=True)
def own_state(tmp_path, monkeypatch):
    """Claims of a test stay in its own folder."""
    monkeypatch.setenv("BENCHCTL_STATE", str(tmp_path / "state"))


def rows(capsys) -> list[dict[str, Any]]:
    return [json.loads(line) for line in capsys.readouterr().out.splitlines()]


def test_a_whole_chain_is_listed_in_its_order_with_its_capacity(served, capsys):
    assert main(["probe", "--site", served.path, "--json"]) == 0
    found = rows(capsys)
    assert [r["name"] for r in found if r["kind"] == "device"] == [
        "bank 1",
        "bank 2",
        "bank 3",
        "bank 4",
        "source meter",
        "set panel",
    ]
    assert found[-1] == {
        "kind": "total",
        "units": 4,
        "answering": 4,
        "rated_kw": 500.0,
        "available_kw": 500.0,
        "source_kw": 400.0,
    }
    assert all(r["identity_ok"] for r in found[:-1])


def test_one_device_in_words(served, capsys):
    assert main(["probe", "--site", served.path, "--unit", "bank 3"]) == 0
    out = capsys.readouterr().out
    assert out.startswith("1. bank 3: answers in ")
    assert "120 kW at 400 V delta" in out
    assert "1 of 1 units answer: 120 kW rated" in out


def test_one_register_in_every_way(served, capsys):
    # configs/units/mask-120.yaml: rated volts in register 26 counted from one, which is address 25
    place, _ = read_site("northquay")
    unit_id = str(place.units[2].unit_id)
    arguments = ["probe", "--at", served.at["bank 3"], "--unit-id", unit_id, "--register", "25"]
    assert main([*arguments, "--json"]) == 0
    assert [(r["address"], r["uint16"]) for r in rows(capsys)] == [(24, 1204), (25, 400), (26, 120)]
    assert main(arguments) == 0
    out = capsys.readouterr().out
    assert "number 26 where manuals count from one" in out
    assert "CDAB" in out


def test_a_register_of_a_named_device(served, capsys):
    assert main(["probe", "--site", served.path, "--unit", "bank 3", "--register", "25", "--json"]) == 0
    assert rows(capsys)[1]["uint16"] == 400


@pytest.mark.parametrize(
    ("arguments", "part"),
    [
        (["--register", "5"], "say which device"),
        ([], "say which site"),
        (["--at", "nowhere", "--register", "5"], "expected HOST:PORT"),
        (["--at", "127.0.0.1:99999", "--register", "5"], "expected HOST:PORT"),
        (["--at", "127.0.0.1:502"], "goes with --register"),
        (["--at", "127.0.0.1:502", "--register", "65536"], "0 to 65535"),
        (["--at", "127.0.0.1:502", "--register", "5", "--unit-id", "256"], "0 to 255"),
        (["--site", "northquay", "--unit", "bank 9"], "bank 1, bank 2, bank 3, bank 4, source meter, set panel"),
    ],
)
def test_options_that_do_not_fit_are_told_in_a_line(arguments, part, capsys):
    assert main(["probe", *arguments]) == 2
    said = capsys.readouterr()
    assert part in said.err
    assert said.out == ""


def test_nothing_there_is_exit_code_4(capsys):
    # port 1 (tcpmux) answers nowhere by default: refused at once
    assert main(["probe", "--at", "127.0.0.1:1", "--register", "5"]) == 4
    assert "no connection" in capsys.readouterr().out


def test_a_unit_that_does_not_fit_the_source_is_a_warning(served, tmp_path, capsys):
    text = Path(served.path).read_text(encoding="utf-8").replace("volts: 400 ", "volts: 340 ")
    path = tmp_path / "low.yaml"
    path.write_text(text, encoding="utf-8")
    assert main(["probe", "--site", str(path), "--unit", "bank 1"]) == 1
    # P = U²/R: (340/400)² = 0.7225
    assert "it gives 72 % of its rating" in capsys.readouterr().out


# -- one owner


def asked(arguments: list[str]) -> subprocess.CompletedProcess[str]:
    """benchctl in a process of its own."""
    command = [sys.executable, "-m", "benchctl", *arguments]
    return subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)


@pytest.mark.parametrize("way", ["site", "unit", "register", "at"])
def test_a_device_that_another_process_holds_is_left_alone_and_its_holder_told(served, way):
    site, _ = read_site(served.path)
    host, port = served.at["bank 3"].split(":")
    bank_3 = next(unit.endpoint for unit in site.units if unit.name == "bank 3")
    assert (bank_3.host, bank_3.port) == (host, int(port))
    arguments, name = {
        "site": (["--site", served.path], " (bank 3)"),
        "unit": (["--site", served.path, "--unit", "bank 3"], " (bank 3)"),
        "register": (["--site", served.path, "--unit", "bank 3", "--register", "25"], " (bank 3)"),
        "at": (["--at", served.at["bank 3"], "--register", "25"], ""),
    }[way]
    with claim({bank_3: "bank 3"}, "control", "northquay"):
        found = asked(["probe", *arguments, "--json"])
    assert found.returncode == 2
    assert found.stdout == ""
    told = (
        rf"127\.0\.0\.1:{port}{re.escape(name)} is held by `benchctl control` for northquay \(process {os.getpid()}, "
    )
    assert re.match(told, found.stderr)
    assert len(found.stderr.splitlines()) == 1


def test_a_device_that_is_not_asked_may_be_held(served, capsys):
    site, _ = read_site(served.path)
    bank_1 = next(unit.endpoint for unit in site.units if unit.name == "bank 1")
    with claim({bank_1: "bank 1"}, "control", "northquay"):
        assert main(["probe", "--site", served.path, "--unit", "bank 3"]) == 0
    assert "1 of 1 units answer" in capsys.readouterr().out


@pytest.mark.parametrize("ending", ["good", "fault"])
def test_a_probe_lets_go_of_what_it_held_however_it_ends(served, ending, monkeypatch, capsys):
    seen: list[bool] = []

    async def look(*given: Any) -> object:
        with pytest.raises(ClaimFault, match=r"held by `benchctl probe` for northquay"):
            claim({bank_3: "bank 3"}, "control", "northquay")
        seen.append(True)
        if ending == "fault":
            raise KeyboardInterrupt
        return await real(*given)

    real = look_module.try_register
    monkeypatch.setattr(look_module, "try_register", look)
    site, _ = read_site(served.path)
    bank_3 = next(unit.endpoint for unit in site.units if unit.name == "bank 3")
    code = main(["probe", "--site", served.path, "--unit", "bank 3", "--register", "25"])
    assert code == (0 if ending == "good" else 1)
    assert seen == [True]
    claim({bank_3: "bank 3"}, "control", "northquay").release()


@pytest.mark.skipif(os.name != "posix", reason="modes are POSIX")
def test_a_state_folder_that_is_not_private_is_told_in_a_line(served, tmp_path, capsys):
    (tmp_path / "state").mkdir()
    (tmp_path / "state").chmod(0o777)
    assert main(["probe", "--site", served.path]) == 2
    assert re.fullmatch(r"\S+state: others may write into it \(mode 777\); .*\n", capsys.readouterr().err)
