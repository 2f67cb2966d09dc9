"""A place and a test, drawn at random: what a person would write into a site's, a bank's and a program's file."""

from random import Random
from typing import Any

import yaml

from benchctl.files import DiskShelf

Tree = dict[str, Any]
KINDS_50 = ("coil-150", "mask-120", "setpoint-80")
KINDS_60 = ("mask-125",)
PORT = 21000


# -- the place


def profiles_of(random: Random) -> dict[str, Tree]:
    """Types of banks as they are shipped, with other times, fans and watchdogs."""
    kinds = KINDS_60 if random.random() < 0.2 else KINDS_50
    made = {}
    for name in random.sample(kinds, random.randint(1, len(kinds))):
        tree: Tree = yaml.safe_load(DiskShelf().open("unit", name).text)
        if random.random() < 0.12:
            del tree["watchdog"]
        else:
            tree["watchdog"]["time"] = f"{random.choice((4, 8, 15, 25))} s"
            tree["watchdog"]["feed_every"] = f"{random.choice((1, 2, 3))} s"
            tree["watchdog"]["on_return"] = random.choice(("stays off", "stays off", "resumes"))
        tree["cooldown"] = {
            "minimum": f"{random.choice((15, 30, 60))} s", "margin_k": random.choice((10, 15, 30)),
            "near": f"{random.choice((3, 10, 20))} s", "reference": random.choice(("inlet", "inlet", "ambient")),
            "alarm": f"{random.choice((3, 15))} min",
        }  # fmt: skip
        tree["fan"]["proof"] = f"{random.choice((6, 10))} s"
        tree["simulated"] |= {
            "contactor": f"{random.choice((20, 60, 150))} ms",
            "fan_spin_up": f"{random.choice((1, 3, 5))} s",
            "fan_spin_down": f"{random.choice((2, 4, 8))} s",
            "element_tau": f"{random.choice((8, 18))} s",
        }
        if "setpoint" in tree:
            tree["setpoint"]["kw_are"] = random.choice(("actual", "rated"))
        made[name] = tree
    return made


def site_of(random: Random, profiles: dict[str, Tree]) -> Tree:
    hertz, volts = (60, 480) if "mask-125" in profiles else (50, 400)
    units, gateways, port = [], [], PORT
    for i in range(random.randint(1, 5)):
        name = random.choice(sorted(profiles))
        row: Tree = {"name": f"bank {i + 1}", "profile": name, "at": f"127.0.0.1:{port}", "unit_id": i + 1}
        if random.random() < 0.25:
            row["fan_supply"] = "source"
        units.append(row)
        if random.random() < 0.25 or name == "setpoint-80":
            gateways.append(row["at"])
        if random.random() < 0.75 or row["at"] not in gateways:
            port += 1
    rated_kw = sum(float(row["profile"].split("-")[1]) for row in units)
    power = round(rated_kw * random.choice((0.4, 0.5, 0.5, 0.6, 0.7, 0.7, 0.8, 0.8, 0.9, 1.2)), -1)
    instruments = [
        {"name": f"{place} meter", "profile": "float-meter", "place": place, "at": f"127.0.0.1:{PORT + 50 + i}",
         "transformers": {"primary_a": max(200.0, power * 3), "secondary_a": 5, "applied": True}}
        for i, place in enumerate(p for p in ("source", "chain") if random.random() < (0.8 if p == "source" else 0.2))
    ]  # fmt: skip
    site: Tree = {
        "title": "A place of a campaign (invented)",
        "source": {
            "name": "set", "kind": random.choice(("generating set",) * 3 + ("ups", "supply")),
            "power": f"{power:g} kW", "apparent": f"{power * 1.25:g} kVA", "volts": volts, "hertz": hertz,
            "wiring": random.choice(("three-phase four-wire", "three-phase four-wire", "three-phase three-wire")),
        },
        "units": units,
        "gateways": sorted(set(gateways)),
        "instruments": instruments,
        "limits": {
            "upper_percent": random.choice((100, 105, 105, 110)),
            "largest_block_up_percent": random.choice((20, 25, 50, 100)),
            "largest_block_down_percent": random.choice((25, 50, 100)),
            "settle_s": random.choice((1, 3, 10)),
            "unload_step_s": random.choice((1, 3, 5)),
            "fan_start_gap_s": random.choice((0, 1, 2)),
        },
        "when_lost": random.choice(("keep the rest", "unload all", "redistribute")),
        "attendance": {"unattended": "allowed", "console_lost": f"{random.choice((20, 60))} s",
                       "check_in": f"{random.choice((60, 120))} s",
                       "check_in_alarm": "10 s", "check_in_unload": "20 s"},
        "ambient_c": 20,
        "simulation": {"site_load": f"{random.choice((0, 0, power // 10)):g} kW", "ambient_c": 20},
    }  # fmt: skip
    if random.random() < 0.2:
        site["source"] |= {"isochronous": False, "droop_percent": random.choice((3, 5))}
    return site


# -- the test


def program_of(random: Random, busy_s: float) -> Tree:
    percents = [random.choice((10, 25, 40, 50, 75, 90, 100)) for _ in range(random.randint(2, 6))]
    rows: list[Tree] = []
    for percent in percents:
        rows.append(_move(random, percent))
        rows.append(
            {"hold": {"for": f"{random.choice((5, 15, 40))} s", "starts": random.choice(("at once", "in band"))}}
        )
        if random.random() < 0.15:
            rows.append(
                {"wait": {"prompt": "Go on?", "timeout": "30 s", "if_silent": random.choice(("unload", "go on"))}}
            )
        if random.random() < 0.08:
            rows.append({"drop": {}})
        if random.random() < 0.08:
            rows.append({"expect_loss": {"within": "20 s", "then": random.choice(("stay closed", "re-apply"))}})
    return {
        "title": "A test of a campaign",
        "load_is": random.choice(("chain", "source total")),
        "rounding": random.choice(("nearest", "at least", "at most")),
        "trim": random.random() < 0.3,
        "check_load": random.random() < 0.2,
        "stage_check": random.random() < 0.05,
        "hold_start_timeout": f"{random.choice((10, 30))} s",
        "source_cooldown": f"{random.choice((0, 10))} s",
        "segments": rows,
    }


def _move(random: Random, percent: int) -> Tree:
    if random.random() < 0.3:
        return {"block": {"to": f"{percent} %", "declared_rejection": True}}
    return {"ramp": {"to": f"{percent} %", "over": f"{random.choice((0, 5, 20))} s"}}
