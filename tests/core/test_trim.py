"""Trim lowers when it must, raises only on a source that is well, and stands still while anything is not known."""

from dataclasses import replace
from typing import Any

from benchctl.core.program import Hold, LoadIs, Ramp, Target
from benchctl.core.reading import Outcome
from tests.core.worlds import Stepper, program, site, staged

PLACE = site(staged(*[5.0] * 20), staged(*[5.0] * 20))
TEST = program(Ramp(Target(100.0), 0.0), Hold(900.0), trim=True)


def weak(share: float) -> Stepper:
    """A run at 100 kW in which the meter tells a share of what is drawn."""
    w = Stepper(PLACE, TEST).started()
    w.until(lambda w: w.kw() == 100.0)

    def told(e: Any) -> Any:
        return replace(e, power_kw=e.power_kw * share, phase_kw=tuple(p * share for p in e.phase_kw))

    w.plant.told = told
    w.run(60.0)
    return w


def test_it_raises_what_is_missing_within_its_authority():
    w = weak(0.96)
    assert 100.0 < w.kw() <= 110.0
    assert weak(0.5).kw() == 110.0


def test_it_lowers_what_is_too_much():
    assert 90.0 <= weak(1.06).kw() < 100.0


def test_it_never_raises_on_a_source_whose_volts_or_hertz_are_out_of_band():
    for fields in ({"volts": 377.0}, {"hertz": 48.9}):
        w = Stepper(PLACE, TEST).started()
        w.until(lambda w: w.kw() == 100.0)
        for name, value in fields.items():
            setattr(w.plant, name, value)
        w.run(60.0)
        assert w.kw() == 100.0


def test_it_stands_still_while_a_loaded_unit_is_silent_and_without_a_meter():
    w = Stepper(PLACE, TEST).started()
    w.until(lambda w: w.kw() == 100.0)
    w.plant.volts = None
    w.run(60.0)
    assert w.state.trim_kw == 0.0
    w.plant.volts = 400.0
    next(u for u in w.plant.units if u.load).silent = Outcome.SILENT
    w.run(4.0)
    assert w.state.trim_kw == 0.0


def test_levels_do_not_chase_a_sag():
    """100 kW ramped on while volts dip to 75 %: no more stages than the sag's lower edge of the band asks for."""
    w = Stepper(PLACE, program(Ramp(Target(100.0), 20.0), Hold(60.0), load_is=LoadIs.CHAIN)).started()
    w.run(10.0)
    w.plant.volts = 300.0
    w.run(1.5)
    w.plant.volts = 400.0
    assert w.kw() <= 57.5 / 0.95**2 + 5.0
    w.run(15.0)
    assert abs(w.kw() - 100.0) <= 5.0
