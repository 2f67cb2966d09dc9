"""A universe that fails, made as small as it can be while it still breaks the same law, and written down for others.

Plain delta debugging: mishaps, faults, answers, segments and banks are left out in halves and one by one, times are
shortened, as long as the law is broken still. What is left is a folder of the files that people write; without mishaps
`benchctl rehearse` replays it, with them `python -m tests.campaign --replay FOLDER`.
"""

import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any, TypeVar

import yaml

from benchctl.files import FileFault
from tests.campaign.days import Mishap
from tests.campaign.play import Played, play
from tests.campaign.universe import Universe

T = TypeVar("T")
LONGEST_S = 240.0
FILES = {"site": "sites/place.yaml", "program": "programs/test.yaml", "scenario": "scenarios/day.yaml"}
BESIDE = "universe.yaml"


def shrink(found: Played, *, with_bytes: bool = False, longest_s: float = LONGEST_S) -> Played:
    """The smallest universe found in so many seconds that breaks one of the same laws."""
    end_s = time.monotonic() + longest_s
    best = found
    smaller = True
    while smaller:
        smaller = False
        for tried in _smaller(best.universe):
            if time.monotonic() > end_s:
                return best
            played = _played(tried, with_bytes)
            if played is not None and played.laws & found.laws:
                best, smaller = played, True
                break
    return best


def _played(universe: Universe, with_bytes: bool) -> Played | None:
    try:
        return play(universe, with_bytes=with_bytes)
    except (FileFault, ValueError, StopIteration):  # it has left out what something else names
        return None


def _smaller(u: Universe) -> Iterator[Universe]:
    """Universes that are smaller by a part, the largest parts first."""
    for mishaps in parts(u.mishaps):
        yield replace(u, mishaps=tuple(mishaps))
    for key in ("faults", "answers"):
        for rows in parts(u.scenario[key]):
            yield replace(u, scenario={**u.scenario, key: list(rows)})
    for rows in parts(u.program["segments"]):
        if rows:
            yield replace(u, program={**u.program, "segments": list(rows)})
    for rows in parts(u.site["units"]):
        if rows:
            used = {row["profile"] for row in rows}
            sockets = {row["at"] for row in rows}
            gateways = [at for at in u.site["gateways"] if at in sockets]
            profiles = {name: tree for name, tree in u.profiles.items() if name in used}
            yield replace(u, site={**u.site, "units": list(rows), "gateways": gateways}, profiles=profiles)
    for rows in parts(u.site["instruments"]):
        yield replace(u, site={**u.site, "instruments": list(rows)})


def parts(rows: Sequence[T]) -> Iterator[Sequence[T]]:
    """What is left when parts are left out: first halves, then quarters, at last one by one."""
    size = len(rows)
    while size:
        for start in range(0, len(rows), size):
            yield [*rows[:start], *rows[start + size :]]
        size //= 2


def write(played: Played, folder: Path, *, with_bytes: bool) -> str:
    """Put a universe into a folder; returns how to replay it, in words."""
    u = played.universe
    for file in u.files():
        path = folder / (FILES.get(file.kind) or f"{file.kind}s/{file.ref}.yaml")
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(file.text, encoding="utf-8")
    beside: dict[str, Any] = {
        "seed": u.seed,
        "busy_s": u.busy_s,
        "attended": u.attended,
        "with_bytes": with_bytes,
        "mishaps": [asdict(m) for m in u.mishaps],
        "broken": [list(row) for row in played.broken],
    }
    (folder / BESIDE).write_text(yaml.safe_dump(beside, sort_keys=False), encoding="utf-8")
    if u.mishaps or u.attended:
        return f"python -m tests.campaign --replay {folder}"
    return (
        f"benchctl rehearse {folder}/{FILES['program']} --site {folder}/{FILES['site']} "
        f"--scenario {folder}/{FILES['scenario']} --seed {u.seed} --anyway"
    )


def written(folder: Path) -> tuple[Universe, bool]:
    """A universe from its folder, and whether it is played with bytes. Raises OSError, KeyError."""

    def tree(path: str) -> Any:
        return yaml.safe_load((folder / path).read_text(encoding="utf-8"))

    site, beside = tree(FILES["site"]), tree(BESIDE)
    profiles = {row["profile"]: tree(f"units/{row['profile']}.yaml") for row in site["units"]}
    mishaps = tuple(Mishap(**row) for row in beside["mishaps"])
    universe = Universe(
        beside["seed"], site, profiles, tree(FILES["program"]), tree(FILES["scenario"]), mishaps, beside["busy_s"],
        beside["attended"], str(folder),
    )  # fmt: skip
    return universe, bool(beside["with_bytes"])


def short(played: Played, show: Callable[[str], None]) -> None:
    """Tell what is left of it in a few lines."""
    u = played.universe
    rows = (
        [str(f) for f in u.scenario["faults"]] + [str(a) for a in u.scenario["answers"]] + [str(m) for m in u.mishaps]
    )
    show(f"  {len(u.site['units'])} banks, {len(u.program['segments'])} segments, {len(rows)} things happen")
    for row in rows[:12]:
        show(f"    {row}")
