"""Energy, average load and fuel of a run. Planned energies of known profiles: computed from their clauses."""

import pytest

from benchctl.assessment.figures import figures
from benchctl.assessment.trail import NAN, Hole, Noted, Trail
from tests.assessment.trails import trail


def named(made: Trail):
    return {one.name: one for one in figures(made)}


def profile(*levels: tuple[float, float], nameplate_kw: float = 1000.0) -> Trail:
    """Levels in percent, each for so many hours, sampled each 10 s, with a step of no length between them."""
    t_s: list[float] = []
    kw: list[float] = []
    begin_s = 0.0
    for percent, hours in levels:
        count = round(hours * 360)
        t_s += [begin_s + 10.0 * k for k in range(count + 1)]
        kw += [percent * nameplate_kw / 100.0] * (count + 1)
        begin_s += 3600.0 * hours
    return trail(t_s, kw, nameplate_kw=nameplate_kw)


@pytest.mark.parametrize(
    ("levels", "kwh"),
    [
        (((30.0, 0.5), (50.0, 0.5), (100.0, 1.0)), 1400.0),  # full-load part of the acceptance test
        (((50.0, 0.5), (75.0, 1.0)), 1000.0),  # annual
        (((25.0, 0.5), (50.0, 0.5), (75.0, 1.0)), 1125.0),  # annual, older edition
        (((30.0, 3.0), (75.0, 1.0)), 1650.0),  # combined, minimum
    ],
)
def test_energy_is_the_sum_of_the_trapezoids(levels, kwh):
    assert named(profile(*levels))["energy"].value == pytest.approx(kwh, abs=1e-6)


def test_energy_of_a_ramp_and_over_what_is_not_known():
    t_s = [float(k) for k in range(3601)]
    made = trail(t_s, [t / 36.0 for t in t_s])
    assert named(made)["energy"].value == pytest.approx(50.0)
    made = trail([0.0, 1800.0, 5400.0, 7200.0], [100.0] * 4, holes=(Hole(1800.0, 5400.0, "asleep"),))
    assert named(made)["energy"].value == pytest.approx(100.0)
    assert "not known for 1 h" in named(made)["energy"].note
    assert "energy" not in named(trail(t_s, [NAN] * 3601))


def test_the_average_of_a_standby_set_counts_low_load_as_thirty_percent_and_no_stopped_time():
    # ISO 8528-1 (from memory): one hour at 10 %, one at 70 %, one stopped: (30 + 70) / 2 = 50 %.
    t_s = [10.0 * k for k in range(1081)]
    kw = [100.0 if t <= 3600 else 700.0 if t <= 7200 else 0.0 for t in t_s]
    volts = [400.0 if t <= 7200 else 0.0 for t in t_s]
    made = trail(t_s, kw, volts=volts, nameplate_kw=1000.0)
    made.papers["rating_class"] = "ESP"
    assert named(made)["average load"].value == pytest.approx(50.0, abs=0.1)
    made.papers["rating_class"] = "COP"
    assert named(made)["average load"].value == pytest.approx(40.0, abs=0.1)


def test_fuel_by_the_generic_table():
    # A published generic table: 500 kW at full load 135.1 L/h; 100 kW at 62.5 % between 15.5 and 22.0 L/h: 18.75.
    assert named(profile((100.0, 1.0), nameplate_kw=500.0))["fuel by table"].value == pytest.approx(135.1, abs=0.01)
    assert named(profile((62.5, 1.0), nameplate_kw=100.0))["fuel by table"].value == pytest.approx(18.75, abs=0.01)
    made = profile((100.0, 1.0), nameplate_kw=500.0)
    made.papers["source_kind"] = "ups"
    assert "fuel by table" not in named(made)
    over = named(profile((130.0, 1.0), nameplate_kw=500.0))["fuel by table"]
    assert over.value is None
    assert "125 %" in over.note


def test_fuel_by_readings_is_told_with_its_plausibility():
    def read(litres: float) -> Trail:
        made = profile((100.0, 1.0), nameplate_kw=500.0)
        made.noted = (Noted(0.0, 1, (("fuel_l", 1000.0),)), Noted(3600.0, 2, (("fuel_l", 1000.0 + litres),)))
        return made

    fine = named(read(133.0))["fuel by readings"]
    assert (fine.value, fine.note) == (133.0, "plausible")
    assert "% of what the table says" in named(read(220.0))["fuel by readings"].note
    assert "not plausible" in named(read(1500.0))["fuel by readings"].note
    assert "not plausible" in named(read(-5.0))["fuel by readings"].note
