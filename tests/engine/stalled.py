"""A process with an engine on a chain without bytes, in real time; a line of JSON a scan. For test_stall."""

import asyncio
import json
import time

from benchctl.clocks import running_clock
from benchctl.core.decision import Frame, Settings
from benchctl.engine import Engine
from tests.engine.test_engine import PLACE
from tests.engine.test_threads import Instant

PERIOD_S = 0.2


def tell(frame: Frame) -> None:
    """One scan."""
    inputs = frame.inputs
    events = [e.text for e in frame.decision.events if e.kind == "gap"]
    told = {
        "number": frame.number,
        "at_s": time.monotonic(),
        "dt_s": inputs.dt_s,
        "stood_still_s": inputs.stood_still_s,
        "stepped_s": inputs.clock_stepped_s,
        "gap_s": frame.decision.seen.gap_s,
        "gaps": events,
    }
    print(json.dumps(told), flush=True)


async def main() -> None:
    """Until the process is ended."""
    settings = Settings.of(PLACE, None, PERIOD_S)
    await Engine(settings, Instant(), time.time, (tell,), running=running_clock()).run(lambda _: False)


if __name__ == "__main__":
    asyncio.run(main())
