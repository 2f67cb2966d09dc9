"""One seed, one universe: a site, its banks, a program, what goes wrong and what people do, as the files of people.

Everything is made of plain values and becomes YAML, so what fails can be replayed by whoever has `benchctl`. Only what
no scenario can say is kept beside it: `mishaps`, which befall the computer that runs the bench.
"""

from dataclasses import dataclass, field
from random import Random

import yaml

from benchctl.core.program import Program
from benchctl.core.scenario import Scenario
from benchctl.core.site import Site
from benchctl.files import DiskShelf, FileFault, RecordedShelf, SourceFile, read_program, read_scenario, read_site
from tests.campaign.days import Mishap, answers_of, fault_of, kind_of, mishaps_of
from tests.campaign.places import Tree, profiles_of, program_of, site_of

BUSY_S, TAIL_S = (150.0, 420.0), 180.0  # faults and people at work; then all is well and the bench must become cold
TRIES = 20
FAULTS_A_DAY = (0, 1, 2, 3, 4, 6, 8, 12)  # quiet days show what many faults would excuse


@dataclass(frozen=True, slots=True)
class Universe:
    """Everything that a seed stands for. busy_s: until when things go wrong; attended: somebody has to be there."""

    seed: int
    site: Tree
    profiles: dict[str, Tree]
    program: Tree
    scenario: Tree
    mishaps: tuple[Mishap, ...] = ()
    busy_s: float = 300.0
    attended: bool = False
    name: str = field(default="")

    @property
    def end_s(self) -> float:
        """When it is over."""
        return self.busy_s + TAIL_S

    def files(self) -> list[SourceFile]:
        """What a person would have on disk."""
        made = [
            _file("site", "place", self.site),
            _file("program", "test", self.program),
            _file("scenario", "day", self.scenario),
        ]
        made += [_file("unit", name, tree) for name, tree in self.profiles.items()]
        used = {row["profile"] for row in self.site.get("instruments", [])}
        return made + [DiskShelf().open("instrument", name) for name in sorted(used)]

    def read(self) -> tuple[Site, Program, Scenario]:
        """The nouns of its files. Raises FileFault."""
        shelf = RecordedShelf(self.files())
        site, _ = read_site("place", shelf)
        program, _ = read_program("test", shelf)
        scenario, _ = read_scenario("day", site, shelf)
        return site, program, scenario


def _file(kind: str, name: str, tree: Tree) -> SourceFile:
    return SourceFile.of(kind, name, f"{kind}s/{name}.yaml", yaml.safe_dump(tree, sort_keys=False, allow_unicode=True))


def universe(seed: int) -> Universe:
    """The universe of a seed; the same one, always."""
    for attempt in range(TRIES):
        random = Random(f"universe {seed} {attempt}")
        made = _made(seed, random)
        try:
            made.read()
        except FileFault:  # what was drawn does not fit together as a site: draw anew
            continue
        return made
    raise AssertionError(f"seed {seed}: no site in {TRIES} tries")


def _made(seed: int, random: Random) -> Universe:
    busy_s = round(random.uniform(*BUSY_S), 1)
    profiles = profiles_of(random)
    site = site_of(random, profiles)
    attended = random.random() < 0.4
    program = program_of(random, busy_s)
    faults = [fault_of(random, kind_of(random), site, profiles, busy_s) for _ in range(random.choice(FAULTS_A_DAY))]
    scenario = {"title": f"Seed {seed}", "faults": faults, "answers": answers_of(random, site, profiles, busy_s)}
    return Universe(
        seed, site, profiles, program, scenario, mishaps_of(random, busy_s), busy_s, attended, f"seed {seed}"
    )
