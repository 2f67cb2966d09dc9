"""`python -m tests.explore [--world NAME ...] [--minutes N] [--workers 2]`: explore small worlds to the last state.

Prints of each world: states, transitions, depth, time, transitions a second, whether it is closed (nothing new is
reached), and every broken law with a shortest sequence of inputs that leads to it. The exit code is 1 if one is broken.
"""

import argparse
import sys
import time

from tests.explore.causes import ROWS
from tests.explore.search import Found, explore
from tests.explore.worlds import LARGE, SMALL, WORLDS

LAWS = (
    "1 drop, 2 closing conditions, 3 hot means fan, 4 limits, 5 nothing comes back by itself, 6 time, 7 missing is not "
    "zero, 8 decide changes nothing that it is given; attendance; by hand; "
    f"react: {len(ROWS)} causes with their reactions; calm: no reaction without a cause"
)


def told(name: str, found: Found) -> str:
    """One line of the table."""
    rate = found.transitions / max(found.seconds, 1e-9)
    end = "closed" if found.closed else "not closed"
    counts = f"{found.states:>10,} {found.transitions:>12,} {found.depth:>5} {found.seconds:>7.1f} {rate:>8,.0f}"
    return f"{name:<28} {counts}  {end}"


def main() -> int:
    """Explore and print; 1 if a law is broken."""
    parser = argparse.ArgumentParser("python -m tests.explore", description=__doc__)
    names = f"any of: {', '.join(WORLDS)}; small, large or all"
    parser.add_argument("--world", nargs="+", default=["small"], metavar="NAME", help=names)
    parser.add_argument("--minutes", type=float, default=15.0, help="for all worlds together")
    parser.add_argument("--workers", type=int, default=2)
    asked = parser.parse_args()
    groups = {"small": list(SMALL), "large": list(LARGE), "all": list(WORLDS)}
    chosen = [world for name in asked.world for world in groups.get(name, [name])]
    if unknown := [name for name in chosen if name not in WORLDS]:
        parser.error(f"there is no world {unknown[0]!r}; {names}")
    print(f"laws: {LAWS}\n")
    print(f"{'world':<28} {'states':>10} {'transitions':>12} {'depth':>5} {'s':>7} {'per s':>8}")
    end_s = time.monotonic() + 60.0 * asked.minutes
    total, broken, open_worlds = Found(closed=True), 0, 0
    for done, name in enumerate(chosen):  # what one leaves of its share goes to the others
        share_s = max(0.0, end_s - time.monotonic()) / (len(chosen) - done)
        found = explore(WORLDS[name], seconds=share_s, workers=asked.workers)
        print(told(name, found), flush=True)
        for law, way in found.broken.items():
            print(f"    {law}", *(f"        {choice}" for choice in way), sep="\n", flush=True)
        total.states += found.states
        total.transitions += found.transitions
        total.seconds += found.seconds
        broken += len(found.broken)
        open_worlds += not found.closed
    total.closed = not open_worlds
    print(told("all", total))
    print(f"{broken} laws broken; {len(chosen) - open_worlds} of {len(chosen)} worlds closed")
    return 1 if broken else 0


if __name__ == "__main__":
    sys.exit(main())
