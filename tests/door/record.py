"""`python -m tests.door.record` records one message of each kind, and the schema, as they are in this version.

For a version that nobody uses yet; afterwards a change of messages counts PROTOCOL up, and the new recording stands
beside the old ones.
"""

import json
from dataclasses import replace
from pathlib import Path

from benchctl.door import messages as m
from benchctl.door.page import schema
from benchctl.door.plates import InstrumentPlate, SourcePlate, UnitPlate
from tests.core.worlds import stepped
from tests.door.rooms import PLACE, SHOWN

ROOT = Path(__file__).parents[2]
FILE = Path(__file__).parent / f"messages-{m.PROTOCOL}.jsonl"
SCHEMA = ROOT / "configs" / "schemas" / "door.schema.json"
CHAIN = (*PLACE.units, replace(PLACE.units[0], name="bank 3", unit_id=7, profile=stepped(100, 5)))

MESSAGES: tuple[m.Message, ...] = (
    m.Challenge(nonce="n" * 32),
    m.Hello(nonce="c" * 32, proof="a" * 64, who="operator", role="console", version="0.1.0"),
    m.Welcome(
        proof="a" * 64,
        version="0.1.0",
        site="northquay",
        title="Northquay ferry terminal",
        units=tuple(UnitPlate.of(unit) for unit in CHAIN),
        instruments=tuple(InstrumentPlate.of(instrument) for instrument in PLACE.instruments),
        source=SourcePlate.of(PLACE.nameplate),
        limits={"hertz_low_percent": 93.0, "stale_s": 3.0},
        attendance=("somebody must be there",),
        rehearsal=True,
        speed=None,
        pid=4711,
        scan_period_s=0.5,
        run="runs/one.run",
        runs="runs",
        console="console 1",
    ),
    m.Refused(reason="version", why="this run host speaks version 3 of the messages, the client version 1"),
    m.Order(id=1, verb="set load", value=120.5, text="t", unit="bank 1", who="witness", why="w", based_on=7),
    m.Program(
        id=2,
        name="ladder",
        text="title: Ladder\n",
        sha256="0" * 64,
        anyway=True,
        choose=False,
        rule_sets=(m.RuleSetText(ref="mine", text="title: Mine\n", sha256="1" * 64),),
    ),
    m.Look(id=3),
    m.Registers(id=4, unit="bank 1"),
    m.Past(id=5, last=50),
    m.History(id=6, since_s=12.5, points=500),
    m.Inject(id=7, fault="volts sag", on="source", value="80 %", for_s=30.0),
    m.Heal(id=8, fault="volts sag", on="source"),
    m.Pace(id=9, speed=None),
    m.Accepted(id=1, data={"rows": [1, None, "x", {"a": 0.5}]}),
    m.Rejected(id=4, why="nobody has taken charge"),
    m.Event(
        number=7,
        wall_s=1_700_000_000.0,
        now_s=3.5,
        what="alarm",
        text="bank 1: airflow lost",
        unit="bank 1",
        who="operator",
        data={"row": "airflow lost"},
    ),
    m.Ping(n=1),
    m.Pong(n=1),
    m.Shown(snapshot=replace(SHOWN, energy_kwh=1.25, pace=10.0)),
    m.Bye(why="nobody needs it"),
)

if __name__ == "__main__":
    FILE.write_bytes(b"".join(m.encode(message) for message in MESSAGES))
    SCHEMA.write_text(json.dumps(schema(), indent=2) + "\n", encoding="utf-8")
