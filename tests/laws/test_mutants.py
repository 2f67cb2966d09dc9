"""Every seeded bug is caught by some script under the observer, by a law, not by an accident."""

import pytest

from tests.laws.mutants import MUTANTS
from tests.laws.scripts import SCRIPTS, play


def laws_broken() -> list[str]:
    """The first law that any script shows to be broken."""
    for name in SCRIPTS:
        try:
            play(name)
        except AssertionError as fault:
            if "law " in str(fault):
                return [f"{name}: {fault}"]
    return []


@pytest.mark.parametrize("mutant", MUTANTS, ids=lambda m: m.__name__)
def test_the_laws_catch(mutant, monkeypatch):
    mutant(monkeypatch.setattr)
    assert laws_broken()
