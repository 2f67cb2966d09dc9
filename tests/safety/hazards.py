"""The table of hazards: every row, in the order of the page."""

from tests.safety.air import AIR
from tests.safety.hazard import Hazard
from tests.safety.people import PEOPLE
from tests.safety.power import POWER
from tests.safety.units import UNITS

PARTS: tuple[tuple[str, tuple[Hazard, ...]], ...] = (
    ("Air and heat", AIR),
    ("Volts, steps, meters and the source", POWER),
    ("Contactors, units, network and computer", UNITS),
    ("People, screens, records and strangers", PEOPLE),
)
HAZARDS: tuple[Hazard, ...] = tuple(row for _, rows in PARTS for row in rows)
BY_KEY: dict[str, Hazard] = {row.key: row for row in HAZARDS}

# Of every row of the table of causes, whichever hazard names it.
EACH_CAUSE: tuple[str, ...] = (
    "tests/core/test_causes.py::test_the_row_fires_in_its_scene_and_stays_quiet_in_the_one_beside_it",
    "tests/core/test_each_cause.py::test_a_row_does_what_its_reaction_says_and_nothing_stronger",
    "tests/core/test_causes.py::test_what_a_row_takes_off_stays_off",
)
