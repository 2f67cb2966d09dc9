"""`python -m tests.campaign`: play universes, shrink what fails, kill run hosts.

    python -m tests.campaign --seeds 0..500 [--bytes] [--shrink] [--out FOLDER] [--minutes M]
    python -m tests.campaign --replay FOLDER
    python -m tests.campaign kills --count 1000

Exit code 1 when a law was broken.
"""

import argparse
import sys
import time
from collections import Counter
from pathlib import Path

from tests.campaign.play import Played, play
from tests.campaign.shrink import short, shrink, write, written
from tests.campaign.universe import universe

OUT = Path("campaign-failures")


def seeds(words: str) -> range:
    """A..B (both included), or one seed. Raises ValueError."""
    first, _, last = words.partition("..")
    return range(int(first), int(last or first) + 1)


def main(words: list[str]) -> int:
    """What the command line asks."""
    if words[:1] == ["kills"]:
        from tests.campaign.kills import main as kills

        return kills(words[1:])
    parser = argparse.ArgumentParser(prog="python -m tests.campaign", description=(__doc__ or "").split("\n", 1)[0])
    parser.add_argument("--seeds", type=seeds, default=range(20), metavar="A..B")
    parser.add_argument("--bytes", action="store_true", help="through the real client and real frames")
    parser.add_argument("--shrink", action="store_true", help="make what fails small")
    parser.add_argument("--out", type=Path, default=OUT, help="where what fails is written (default %(default)s)")
    parser.add_argument("--minutes", type=float, default=float("inf"), help="real time after which no seed is begun")
    parser.add_argument("--replay", type=Path, metavar="FOLDER", help="play one that has been written there")
    args = parser.parse_args(words)
    return replayed(args.replay) if args.replay else campaign(args)


def replayed(folder: Path) -> int:
    """One universe from its folder."""
    found, with_bytes = written(folder)
    played = play(found, with_bytes=with_bytes)
    for law, t, text in played.broken:
        print(f"law {law} at {t:.2f} s: {text}")
    print(f"{played.scans} scans, digest {played.digest[:16]}")
    return 1 if played.broken else 0


def campaign(args: argparse.Namespace) -> int:
    """Many seeds, one after the other."""
    begun_s, hours, done, failed, seen = time.monotonic(), 0.0, 0, 0, Counter[str]()
    scans = 0
    for seed in args.seeds:
        if time.monotonic() - begun_s > args.minutes * 60.0:
            break
        played = play(universe(seed), with_bytes=args.bytes)
        hours, scans, done = hours + played.hours, scans + played.scans, done + 1
        seen.update(played.seen)
        if played.broken:
            failed += 1
            _told(played, args)
    took_s = time.monotonic() - begun_s
    print(f"{done} universes, {hours:.1f} simulated hours, {scans} scans in {took_s:.0f} s: {failed} broke a law")
    print("judged: " + ", ".join(f"{name} {count}" for name, count in seen.most_common()))
    return 1 if failed else 0


def _told(played: Played, args: argparse.Namespace) -> None:
    """A failure in words, small if that was asked, and on disk."""
    law, t, text = played.broken[0]
    print(f"seed {played.universe.seed}: law {law} at {t:.2f} s: {text}", flush=True)
    if args.shrink:
        played = shrink(played, with_bytes=args.bytes)
        short(played, print)
    how = write(played, args.out / f"seed-{played.universe.seed}", with_bytes=args.bytes)
    print(f"  replay: {how}", flush=True)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
