"""A run host that tells a broker of its bench: what arrives, and that nothing which comes from there is obeyed."""

import json

from benchctl.core.command import Command
from benchctl.core.decision import Frame
from benchctl.files.broker import Broker
from benchctl.record.assessed import assessed
from benchctl.record.reader import Reader
from tests.controller.test_host import _quick, running
from tests.door.rooms import until
from tests.mqtt.broker import Message, serving
from tests.mqtt.telling import parsed

__all__ = ["_quick"]  # the fixture holds for the tests here too

UNDER = "benchctl/real/place/"


def of(broker, leaf):
    return [parsed(m.payload) for m in broker.published if m.topic == UNDER + leaf]


def noun(broker, **keys):
    return Broker("127.0.0.1", broker.port, snapshot_s=0.2, **keys)


async def test_a_session_by_hand_is_told_from_birth_to_verdict_and_farewell(tmp_path):
    async with serving() as broker:
        async with running(tmp_path, broker=noun(broker)) as run:
            await broker.until(lambda: of(broker, "snapshot"))
            await run.load()
            await broker.until(lambda: of(broker, "state") and of(broker, "state")[-1]["loaded"])
            await broker.until(lambda: of(broker, "event/command"))
            (command,) = [c for c in of(broker, "event/command") if "set load" in c["text"]]
            assert command["who"] == "Kim"
            assert of(broker, "run")[-1]["in_hand"] is True
            await run.client.order("unload", who="Kim")
            await broker.until(lambda: of(broker, "run")[-1]["in_hand"] is False, 20.0)
            await broker.until(lambda: of(broker, "run")[-1]["verdicts"] is not None, 20.0)
            last = of(broker, "run")[-1]
            assert (last["sealed"], last["problem"], last["verdicts"]) == (True, "", [])
            assert last["run"] == next((tmp_path / "runs").glob("*.run")).stem
            assert last["totals"]["virtual_s"] > 0.0
            (outcome,) = of(broker, "event/outcome")
            assert outcome["text"] == last["outcome"] != ""
            assert outcome["data"]["run"] == last["run"], "a name, and no folder of ours"
            assert str(tmp_path) not in "".join(m.payload.decode() for m in broker.published)
            run.host._ending.asked = 1
            await run.ended()
        assert of(broker, "presence")[-1]["presence"] == "offline"
        assert "asked to end" in of(broker, "presence")[-1]["why"]


async def test_whatever_is_published_under_its_tree_changes_nothing(tmp_path, monkeypatch):
    orders = [
        {"kind": "order", "id": 1, "verb": verb, "who": "Mallory", "value": 40.0}
        for verb in ("take charge", "set load", "start", "drop", "reset")
    ]
    async with serving() as broker, running(tmp_path, broker=noun(broker)) as run:
        await broker.until(lambda: of(broker, "snapshot"))
        seen = set(broker.topics()) | {UNDER + word for word in ("command", "set", "order", "snapshot/set", "cmd")}
        commands: list[Command] = []
        put = run.host._recent.listen

        def listen(frame: Frame, of_run: object) -> None:
            commands.extend(frame.inputs.commands)
            put(frame, of_run)

        monkeypatch.setattr(run.host._recent, "listen", listen)
        for topic in seen:
            for order in orders:
                message = Message(topic, json.dumps(order).encode(), 1, retain=True)
                broker.publish(message)
                for client in broker.clients:  # as a broker gone wrong would: unasked
                    broker._deliver(client, message, 1, retained=False)
        count = len(of(broker, "snapshot"))
        await broker.until(lambda: len(of(broker, "snapshot")) >= count + 4)
        assert not commands
        assert not run.host.loaded()
        assert not of(broker, "event/command")
        assert of(broker, "snapshot")[-1]["charge"] == ""
        assert not {p.kind for p in broker.packets} & {"SUBSCRIBE", "UNSUBSCRIBE"}


async def test_G5_the_bench_is_worked_as_ever_while_the_broker_is_gone_and_all_is_told_afterwards(tmp_path):
    async with serving() as broker, running(tmp_path, broker=noun(broker)) as run:
        await broker.until(lambda: of(broker, "snapshot"))
        await broker.stop()
        await run.load()
        assert run.host.loaded()
        await broker.start()
        await broker.until(lambda: any("set load" in c["text"] for c in of(broker, "event/command")))
        assert of(broker, "state")[-1]["loaded"] is True
        assert run.host.told("connection lost")
        told = [e for e in of(broker, "event/broker") if "lost" in e["text"]]
        assert told, "whoever is attached is told too, and the record of the broker has it"


async def test_a_broker_that_was_never_there_is_told_in_the_log_and_holds_up_nothing(tmp_path):
    async with serving() as broker:
        await broker.stop()
        async with running(tmp_path, broker=noun(broker)) as run:
            await run.load()
            await until(lambda: run.host.told("the broker cannot be told"))
            await run.client.order("drop", who="Kim")
            await until(lambda: not run.host.loaded())


async def test_a_rule_set_that_the_program_names_is_told_as_a_verdict(tmp_path):
    text = "title: Short\ncheck_load: false\nrule_sets: [ufgs-endurance]\nsegments:\n  - hold: {at: 20 kW, for: 2 s}\n"
    async with serving() as broker, running(tmp_path, broker=noun(broker)) as run:
        await broker.until(lambda: of(broker, "snapshot"))
        told = await run.client.program("short", text)
        assert told["feasible"], told["refusals"]
        await run.client.order("take charge", who="Kim")
        await run.client.order("start", text=told["sha256"], who="Kim")
        await broker.until(lambda: of(broker, "event/verdict"), 40.0)
        (verdict,) = of(broker, "event/verdict")
        with Reader(next((tmp_path / "runs").glob("*.run"))) as reader:
            (judgement,) = assessed(reader).judgements
        (judged,) = of(broker, "run")[-1]["verdicts"]
        assert verdict["data"]["rule_set"] == judged["rule_set"] == "ufgs-endurance"
        assert verdict["data"]["outcome"] == judged["outcome"] == judgement.outcome.value != "shown"
        assert judged["shown"] + judged["not_met"] + judged["not_demonstrated"] == len(judgement.verdicts) > 0
