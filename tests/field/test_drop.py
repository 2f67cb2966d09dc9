"""The writes of a drop that are made ready: only where nothing that a unit holds could change them."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchctl.core.decide import all_open
from benchctl.core.decision import Settings
from benchctl.core.profile import Stage
from benchctl.core.registers import Kind, Point, RegisterMap
from benchctl.field.answer import SILENT
from benchctl.field.decoder import unit_decoder
from benchctl.field.drop import OPEN_ALL, ready
from benchctl.field.encode import encode
from benchctl.files import read_site
from tests.field.made import H, coil_bank, mask_bank, ok, profile, setpoint_bank, unit

FIXED = [coil_bank(4), coil_bank(12, function=15), mask_bank(), setpoint_bank()]
POWER = Point("setpoint_kw", H, 0, Kind.UINT16, scale=0.1, write_function=16)


def bits_of_a_register():
    """A bank whose stages are bits of a register that may hold others."""
    points = [Point(f"stage_{i}", H, 7, Kind.BIT, bit=i, write_function=6) for i in range(2)]
    return profile(tuple(points), stages=tuple(Stage(p.name, (1.0, 1.0, 1.0), order=p, feedback=p) for p in points))


@pytest.mark.parametrize("made", FIXED)
@given(data=st.data())
def test_what_is_ready_is_what_a_drop_writes_whatever_the_unit_holds(made, data):
    place = unit(made)
    words = st.integers(0, 0xFFFF)
    blocks = unit_decoder(made).plan.blocks
    sizes = [(b.count + 15) // 16 if b.space.bits else b.count for b in blocks]
    answers = tuple(
        data.draw(st.one_of(st.just(SILENT), st.lists(words, min_size=n, max_size=n).map(lambda w: ok(*w))))
        for n in sizes
    )
    made = ready(place)
    assert made == encode(place, OPEN_ALL, answers, all_stages=True)
    assert made is not None
    assert made.openings
    assert (made.fans, made.closings, made.feed) == ((), (), ())


@pytest.mark.parametrize(
    "made",
    [
        bits_of_a_register(),
        setpoint_bank(registers=RegisterMap((replace(POWER, nonvolatile=True),))),
        setpoint_bank(registers=RegisterMap((replace(POWER, scale_from="sf"), Point("sf", H, 1, Kind.INT16)))),
        setpoint_bank(registers=RegisterMap((replace(POWER, kind=Kind.INT16, offset=1e9),))),
    ],
    ids=["other bits", "wears out", "scale factor", "does not fit"],
)
def test_nothing_is_ready_where_it_depends_on_what_the_unit_holds_or_cannot_be_written(made):
    assert ready(unit(made)) is None


def test_every_shipped_unit_is_ready_and_a_drop_orders_just_that():
    for name in ("northquay", "alder-ridge", "millrace"):
        place, _ = read_site(name)
        assert all(ready(u) is not None for u in place.units)
        assert set(all_open(Settings.of(place, None, 1.0)).units) == {OPEN_ALL}
