"""Campaigns of seeds: no universe breaks a law, the same seed is the same universe, and seeded bugs are found."""

import os
import subprocess
import sys
from pathlib import Path
from random import Random

import pytest

from benchctl.core.scenario import FAULTS
from tests.campaign.days import MISHAPS, kind_of, mishaps_of
from tests.campaign.failed import FAILED
from tests.campaign.mutants import FOUND_BY
from tests.campaign.play import play
from tests.campaign.shrink import shrink, write, written
from tests.campaign.universe import universe

SEEDS = range(20)
BYTES = (2, 5)  # through real frames
ROOT = Path(__file__).parents[2]
STORED = sorted((Path(__file__).parent / "found").glob("*/universe.yaml"))


@pytest.mark.slow
@pytest.mark.parametrize("seed", [*SEEDS, *(s for s in FAILED if s not in SEEDS)])
def test_no_scan_of_a_universe_breaks_a_law(seed):
    played = play(universe(seed))
    assert played.broken == []
    assert played.scans > 100


@pytest.mark.slow
@pytest.mark.parametrize("seed", BYTES)
def test_nor_does_one_through_real_frames(seed):
    assert play(universe(seed), with_bytes=True).broken == []


@pytest.mark.parametrize("path", STORED, ids=lambda path: path.parent.name)
def test_what_was_once_found_and_made_small_breaks_no_law_any_more(path):
    found, with_bytes = written(path.parent)
    assert play(found, with_bytes=with_bytes).broken == []


@pytest.mark.slow
def test_the_same_seed_is_the_same_universe_in_any_process():
    words = [sys.executable, "-m", "tests.campaign", "--replay"]
    seed = 4
    once = play(universe(seed))
    code = (
        "from tests.campaign.play import play; from tests.campaign.universe import universe; "
        f"print(play(universe({seed})).digest)"
    )
    env = os.environ | {"PYTHONHASHSEED": "7"}
    other = subprocess.run([*words[:1], "-c", code], cwd=ROOT, env=env, capture_output=True, text=True, check=True)
    assert other.stdout.strip() == once.digest
    assert play(universe(seed + 1)).digest != once.digest


def test_all_seeds_together_know_every_fault_and_every_mishap():
    random = Random(1)
    assert {kind_of(random).name for _ in range(2000)} == {kind.name for kind in FAULTS}
    assert {mishap.kind for _ in range(100) for mishap in mishaps_of(random, 300.0)} == set(MISHAPS)


@pytest.mark.slow
@pytest.mark.parametrize(("mutant", "seed"), FOUND_BY.items(), ids=lambda x: getattr(x, "__name__", x))
def test_a_seeded_bug_is_found(mutant, seed, monkeypatch):
    assert seed is not None
    mutant(monkeypatch.setattr)
    assert play(universe(seed)).broken


@pytest.mark.slow
def test_what_is_found_is_made_small_and_can_be_replayed_from_its_folder(tmp_path, monkeypatch):
    mutant, seed = next(iter(FOUND_BY.items()))
    mutant(monkeypatch.setattr)
    found = play(universe(seed))
    small = shrink(found, longest_s=10.0)
    assert small.laws & found.laws

    def size(played):
        u = played.universe
        return len(u.scenario["faults"]) + len(u.scenario["answers"]) + len(u.mishaps) + len(u.program["segments"])

    assert size(small) < size(found)
    write(small, tmp_path, with_bytes=False)
    again, with_bytes = written(tmp_path)
    assert play(again, with_bytes=with_bytes).broken == small.broken
