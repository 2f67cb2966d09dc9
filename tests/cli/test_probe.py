"""The verb probe against the simulator on ephemeral loopback ports, as a user runs it."""

import asyncio
import json
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from benchctl.cli import main
from benchctl.core.site import Instrument, Unit
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
