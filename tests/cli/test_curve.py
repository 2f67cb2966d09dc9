"""The curve in block characters."""

from hypothesis import given
from hypothesis import strategies as st

from benchctl.cli.curve import curve


def test_a_flat_full_load_fills_every_column():
    lines = curve([(float(t), 100.0, 100.0) for t in range(80)], width=20, height=4)
    assert [line[8:] for line in lines[:4]] == ["█" * 20] * 4
    assert lines[0].startswith("   100 │")
    assert lines[-1].endswith("0:01:19")


def test_what_is_asked_but_not_given_shows_as_dots_above_the_columns():
    lines = curve([(0.0, 100.0, 50.0), (10.0, 100.0, 50.0)], width=2, height=4)
    assert [line[8:] for line in lines[:4]] == ["··", "", "██", "██"]


def test_a_stretch_without_a_known_value_is_a_question_mark_and_never_a_zero():
    lines = curve([(0.0, 0.0, 40.0), (5.0, 0.0, None), (10.0, 0.0, 40.0)], width=3, height=2)
    assert lines[1][8:] == "█?█"


def test_fewer_than_two_points_give_no_picture():
    assert curve([(0.0, 1.0, 1.0)]) == []


times = st.lists(st.floats(0.0, 1e6), min_size=2, max_size=50).map(sorted)
kws = st.one_of(st.none(), st.floats(-50.0, 5000.0))


@given(times, st.data())
def test_any_run_gives_a_picture_of_the_stated_size(seconds, data):
    points = [(t, data.draw(st.floats(0.0, 5000.0)), data.draw(kws)) for t in seconds]
    lines = curve(points, width=30, height=5)
    assert len(lines) == 7
    assert all(len(line) <= 8 + 30 for line in lines[:-1])
