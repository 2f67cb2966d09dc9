"""`benchctl watch`: many benches at once, by what a broker is told of them; without one, those of this computer."""

import argparse
import asyncio
import os
import sys
import time
from collections.abc import Awaitable, Callable
from typing import TYPE_CHECKING, Any

from benchctl.cli import GOOD, USAGE
from benchctl.cli.voice import Voice

if TYPE_CHECKING:
    from benchctl.mqtt.gathered import Gathered
    from benchctl.mqtt.picture import Bench
    from benchctl.tui.view.watched import Watched

HELP = "watch many benches at once, at an MQTT broker or on this computer; orders nothing"
TOGETHER_S = 0.5  # with --json: what changes meanwhile is told in one row

Listen = Callable[[Callable[[str | None], None]], Awaitable[None]]


def arguments(parser: argparse.ArgumentParser) -> None:
    """Options of the verb."""
    parser.add_argument(
        "--broker",
        metavar="FILE|URL",
        help="listen at an MQTT broker: a broker file, or mqtt://HOST (default: the run hosts of this computer)",
    )
    parser.add_argument("--colours", choices=("night", "sun", "one colour"), help="to begin with; t changes them")
    parser.add_argument("--plain", action="store_true", help="only letters and signs of ASCII as shapes")


def run(args: argparse.Namespace, voice: Voice) -> int:
    """Watch until it is left. Exit codes: see cli/__init__.py; a screen that its terminal or a signal ended: 1."""
    screen = not args.json
    streams = (sys.__stdin__, sys.__stdout__, sys.__stderr__)
    if screen and not all(stream is not None and stream.isatty() for stream in streams):
        voice.narrate("this screen needs a terminal; without one: benchctl watch --json")
        return USAGE
    where, gathered, listen = _listener(args)
    if not screen:
        return _rows(gathered, listen, where, voice)
    from benchctl.cli.faults import explain
    from benchctl.tui.theme import MONO, NIGHT
    from benchctl.tui.watch import Watch

    look = args.colours or (MONO if os.environ.get("NO_COLOR") else NIGHT)
    app = Watch(where, listen, lambda w: _refresh(w, gathered), look=look, glyphs="ascii" if args.plain else "full")
    code = app.run() or GOOD
    app.give_back()
    app.ends.over()
    if app.fault is not None:
        return explain(app.fault, voice)
    if app.ends.ended:
        voice.narrate(f"watch: {app.ends.ended}")
    return code


def _listener(args: argparse.Namespace) -> "tuple[str, Gathered, Listen]":
    """What is listened to, in words; what gathers; and what listens. Raises FileFault, FolderFault."""
    from benchctl.mqtt.gathered import Gathered

    if args.broker:
        from benchctl.cli.control import the_broker
        from benchctl.mqtt.subscriber import Subscriber

        broker = the_broker(args)
        assert broker is not None
        gathered = Gathered(broker.root, time.monotonic, time.time)
        return str(broker), gathered, lambda changed: Subscriber(broker, gathered, changed).run()

    from benchctl.cli.attach import cards_folder, operator
    from benchctl.cli.near import Near

    near, folder, who = Gathered("", time.monotonic, time.time), cards_folder(), operator()
    return "this computer", near, lambda changed: Near(folder, near, changed, who).run()


def _refresh(watched: "Watched", gathered: "Gathered") -> None:
    """What is gathered, as it is now."""
    watched.benches = tuple(gathered.benches())
    watched.cut, watched.strays, watched.stray = gathered.cut, gathered.strays, gathered.stray


# -- as JSON lines


def _rows(gathered: "Gathered", listen: Listen, where: str, voice: Voice) -> int:
    from benchctl.cli.export import let_go

    try:
        asyncio.run(_tell(gathered, listen, where, voice))
    except KeyboardInterrupt:  # that is how it is left
        return GOOD
    except BrokenPipeError:
        let_go()
    return GOOD


async def _tell(gathered: "Gathered", listen: Listen, where: str, voice: Voice) -> None:
    """A row for each bench of which something has come, or whose state is another, at most every TOGETHER_S."""
    fresh: set[str] = set()
    told: dict[str, str] = {}
    cut: str | None = None
    listening = asyncio.ensure_future(listen(lambda key: fresh.add(key) if key is not None else None))
    try:
        while not listening.done():
            await asyncio.wait([listening], timeout=TOGETHER_S)
            if gathered.cut != cut:
                cut = gathered.cut
                voice.row({"kind": "listening", "where": where, "live": not cut, "why": cut})
            benches = {b.key: b for b in gathered.benches()}
            for gone in told.keys() - benches.keys():
                voice.row({"kind": "withdrawn", "bench": gone})
                del told[gone]
            for key, bench in benches.items():
                row = row_of(bench)
                state = f"{row['life']} {row['state']} {row['why']}"
                if key in fresh or told.get(key) != state:
                    voice.row(row)
                    told[key] = state
            fresh.clear()
        await listening  # what has ended it
    finally:
        listening.cancel()
        await asyncio.gather(listening, return_exceptions=True)


def row_of(b: "Bench") -> dict[str, Any]:
    """A bench in brief. Figures of one that is not live are those that were told last, `age_s` ago."""
    from benchctl.tui.view.benches import CALM, first_out, state_of, word_of

    told, source = b.told, b.live.source if b.live is not None else None
    kept = b.state if b.live is None else None
    return {
        "kind": "bench",
        "bench": b.name,
        "rehearsal": b.rehearsal,
        "life": b.life.value,
        "state": word_of(b),
        "trouble": state_of(b).trouble < CALM,
        "why": b.why,
        "age_s": None if b.age_s is None else round(b.age_s, 3),
        "at": told.at if told is not None else None,
        "clock_behind_s": None if b.clock_s is None else round(b.clock_s, 3),
        "missed": b.missed,
        "mode": told.mode if told is not None else None,
        "loaded": told.loaded if told is not None else None,
        "off": told.off if told is not None else None,
        "charge": told.charge if told is not None else None,
        "run": told.run if told is not None else None,
        "target_kw": told.target_kw if told is not None else None,
        "delivered_kw": told.delivered.power_kw if told is not None else None,
        "delivered_stale": told.delivered.stale if told is not None else None,
        "source_kw": source.power_kw if source is not None else kept.source_kw if kept is not None else None,
        "volts_v": source.volts_v if source is not None else kept.volts_v if kept is not None else None,
        "hertz": source.hertz if source is not None else kept.hertz if kept is not None else None,
        "source_stale": source.stale if source is not None else kept.source_stale if kept is not None else None,
        "alarms": told.alarms if told is not None else None,
        "unacknowledged": told.unacknowledged if told is not None else None,
        "first_out": first_out(b),
        "trip": told.trip if told is not None else None,
        "unused": b.flaws,
        "flaw": b.flaw,
    }
