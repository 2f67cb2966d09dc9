"""A day, drawn at random: faults of every kind, mishaps of the computer, what people do about them or without them."""

from dataclasses import dataclass
from random import Random

from benchctl.core.scenario import FAULTS, FaultKind
from tests.campaign.places import Tree

MISHAPS = ("killed", "stalled", "clock stepped", "disk full", "nobody attached")


@dataclass(frozen=True, slots=True)
class Mishap:
    """Something that befalls the computer. lasts_s: how long it is down, stalled, full or alone; of a clock: its step.

    turns: of a kill: how many turns of the event loop after its time, so that it hits any await.
    """

    kind: str
    at_s: float
    lasts_s: float
    turns: int = 0


# -- what goes wrong

_VALUES: dict[str, tuple[str, ...]] = {
    "1 or 0": ("0", "1"),
    "share of airflow left, 0 to 1": ("0.2", "0.5", "0.9"),
    "exception code": ("2", "4", "6"),
    "kW": ("0 kW", "20 kW", "60 kW"),
    "phase, 1 to 3": ("1", "2", "3"),
    "two phases: 12, 13 or 23": ("12", "13", "23"),
    "factor": ("0.5", "2"),
    "percent of rated": ("75 %", "85 %", "92 %", "97 %", "104 %", "112 %"),
    "share of rated kW, 0 to 1": ("0.3", "0.8"),
    "s": ("50 ms", "200 ms", "1 s"),
    "share, 0 to 1": ("0.1", "0.5", "0.9"),
}


_END_IT = frozenset({"site needs the set", "emergency stop", "phase lost", "source stops", "volts sag", "hertz low"})


def kind_of(random: Random) -> FaultKind:
    """Any kind; those that end the whole test less often, so that there is more to come after them."""
    kind = random.choice(FAULTS)
    return kind if kind.name not in _END_IT or random.random() < 0.4 else random.choice(FAULTS)


def fault_of(random: Random, kind: FaultKind, site: Tree, profiles: dict[str, Tree], busy_s: float) -> Tree:
    """One fault that begins and ends while things go wrong."""
    units = [row["name"] for row in site["units"]]
    ends = units + [row["name"] for row in site["instruments"]]
    on = {"unit": units, "instrument": ends[len(units) :], "source": ["source"], "cable": ends}[kind.on]
    if not on or (kind.value.startswith("stage") and not _staged(site, profiles)):
        return fault_of(random, kind_of(random), site, profiles, busy_s)
    where = random.choice(on if not kind.value.startswith("stage") else _staged(site, profiles))
    at_s = round(random.uniform(2.0, busy_s * 0.9), 2)
    for_s = round(min(random.choice((0.3, 1.2, 4.0, 12.0, 40.0, 120.0)), busy_s - at_s), 2)
    row: Tree = {"fault": kind.name, "on": where, "at": f"{at_s:g} s", "for": f"{for_s:g} s"}
    if kind.value.startswith("stage"):
        stages = len(profiles[next(u["profile"] for u in site["units"] if u["name"] == where)]["stages"])
        phase = f".{random.randint(1, 3)}" if "phase" in kind.value else ""
        row["value"] = f"{random.randint(1, stages)}{phase}"
    elif kind.value:
        row["value"] = random.choice(_VALUES[kind.value])
    return row


def _staged(site: Tree, profiles: dict[str, Tree]) -> list[str]:
    return [row["name"] for row in site["units"] if "stages" in profiles[row["profile"]]]


def mishaps_of(random: Random, busy_s: float) -> tuple[Mishap, ...]:
    if random.random() < 0.35:
        return ()
    made = []
    for _ in range(random.randint(1, 3)):
        kind = random.choice(MISHAPS)
        lasts_s = {
            "killed": random.choice((0.5, 3.0, 10.0, 40.0)),
            "stalled": random.choice((0.7, 1.5, 3.0, 8.0, 60.0)),
            "clock stepped": random.choice((-3600.0, -2.0, 2.0, 86400.0)),
            "disk full": random.choice((5.0, 60.0)),
            "nobody attached": random.choice((10.0, 90.0)),
        }[kind]
        at_s = round(random.uniform(5.0, busy_s * 0.8), 3)
        made.append(Mishap(kind, at_s, min(lasts_s, busy_s - at_s) if lasts_s > 0 else lasts_s, random.randint(0, 30)))
    return tuple(sorted(made, key=lambda m: m.at_s))


# -- what people do


def answers_of(random: Random, site: Tree, profiles: dict[str, Tree], busy_s: float) -> list[Tree]:
    answer = {
        "verb": "answer",
        "to": "prompts",
        "after": f"{random.choice((1, 4, 10))} s",
        "text": random.choice(("yes", "yes", "no")),
    }
    rows: list[Tree] = [] if random.random() < 0.1 else [answer]
    rows += [_deed(random, site, profiles, busy_s) for _ in range(random.randint(0, 14))]
    if random.random() < 0.8:  # somebody who looks after things now and then, and wants load on
        for at_s in range(random.randint(15, 40), int(busy_s), random.choice((20, 35, 60, 110))):
            rows += _look_round(random, site, at_s)
    last = [{"verb": "unload", "at": f"{busy_s:g} s"}, {"verb": "drop", "at": f"{busy_s + 40:g} s"}]
    fans = [{"verb": "confirm fans", "at": f"{busy_s + 2:g} s", "unit": u["name"]} for u in site["units"]]
    return [*rows, *last, *fans]


def _look_round(random: Random, site: Tree, at_s: int) -> list[Tree]:
    """What was lost is taken back, what was tripped is reset, and it goes on."""
    verbs, names = random.sample(("check in", "adopt", "acknowledge"), 2), [u["name"] for u in site["units"]]
    rows: list[Tree] = [{"verb": verb, "at": f"{at_s} s"} for verb in verbs]
    rows += [{"verb": "confirm fans", "at": f"{at_s} s", "unit": name} for name in names if random.random() < 0.5]
    rows += [{"verb": "reset", "at": f"{at_s} s"}] * (random.random() < 0.8)
    rows += [{"verb": "join", "at": f"{at_s + 1} s", "unit": name} for name in names if random.random() < 0.8]
    rows += [{"verb": "resume", "at": f"{at_s + 1} s"}] * (random.random() < 0.7)
    what = random.random()
    if what < 0.4:
        rows.append({"verb": "set load", "at": f"{at_s + 2} s", "value": _kw(random, site)})
    elif what < 0.8:
        rows.append({"verb": "start", "at": f"{at_s + 2} s"})
    return rows


def _kw(random: Random, site: Tree) -> str:
    power = float(site["source"]["power"].split()[0])
    return f"{power * random.choice((0, 0.1, 0.3, 0.5, 0.8, 1.0, 1.3)):.0f} kW"


def _deed(random: Random, site: Tree, profiles: dict[str, Tree], busy_s: float) -> Tree:
    verb = random.choice(
        ("set load", "set load", "set load", "pause", "resume", "extend", "skip", "unload", "drop", "reset", "reset",
         "acknowledge", "adopt", "check in", "join", "join", "override", "confirm fans", "remark", "switch", "switch",
         "shelve", "start", "start")
    )  # fmt: skip
    row: Tree = {"verb": verb, "at": f"{random.uniform(8.0, busy_s - 1.0):.2f} s"}
    unit = random.choice(site["units"])
    if verb in ("join", "confirm fans"):
        row["unit"] = unit["name"]
    elif verb == "set load":
        row["value"] = _kw(random, site)
    elif verb == "extend":
        row["value"] = f"{random.choice((5, 30))} s"
    elif verb == "override":
        row |= {
            "text": random.choice(("cool-down", "check load", "check load")),
            "why": "a campaign",
            "unit": unit["name"],
        }
    elif verb == "switch":
        stages = profiles[unit["profile"]].get("stages")
        row["unit"] = unit["name"]
        if stages:
            row |= {"text": random.choice(stages)["name"], "value": random.choice(("1", "1", "0"))}
        else:
            row["value"] = random.choice(("0 kW", "20 kW", "40 kW"))
    elif verb == "shelve":
        row |= {"text": random.choice(("draws less", "kW do not match")), "why": "a campaign", "value": "60 s"}
    elif verb == "acknowledge":
        row["text"] = "all"
    elif verb == "remark":
        row["text"] = "a look at the bench"
    return row
