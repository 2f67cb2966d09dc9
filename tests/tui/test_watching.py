"""The screen of many benches: what is not of now says so in a word, the worst comes first, any size is filled."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.mqtt.payloads import Alarm as AlarmTold
from benchctl.mqtt.payloads import Course, Live, Measured, Run, Source, Standing, State, Unit
from benchctl.mqtt.payloads import Event as EventTold
from benchctl.mqtt.picture import Bench, Life
from benchctl.tui.view.benches import STATES, in_order, loaded, state_of, word_of
from benchctl.tui.view.text import Mark, plain
from benchctl.tui.view.watched import Watched
from benchctl.tui.view.watching import draw, furthest
from tests.tui.pictures import as_it_was, exact, made

SIZES = ((80, 24), (120, 40), (200, 60))


def live(**given):
    """A scan of a bench under 300 kW."""
    good = {
        "mode": "running", "loaded": True, "off": False, "charge": "operator", "recorder": "ok", "target_kw": 300.0,
        "delivered": made(Measured, power_kw=299.6, told_by="source meter"), "ceiling_kw": 400.0,
        "available_kw": 487.2, "read_back": made(Measured, power_kw=300.0),
        "source": made(Source, power_kw=311.6, hertz=49.98, volts_v=399.2, site_kw=12.0),
        "units": tuple(unit(f"bank {i}") for i in range(1, 5)),
        "course": made(Course, program="ladder", kind="hold", label="half load", program_to_go_s=754.0),
    }  # fmt: skip
    return made(Live, **good | given)


def unit(name, **given):
    good = {
        "condition": "loaded", "age_s": 0.3, "commanded_kw": 75.0, "read_back_kw": 75.0, "measured_kw": 74.9,
        "exhaust_c": 181.0,
    }  # fmt: skip
    return made(Unit, **good | {"name": name} | given)


def bench(name="northquay", life=Life.LIVE, age_s=0.4, **given):
    """A bench that is heard."""
    told = {"live": live()} | given
    world = "rehearsal" if told.get("rehearsal") else "real"
    return Bench(key=f"{world}/{name}", name=name, **{"rehearsal": False, "life": life, "age_s": age_s} | told)


REST = {"mode": "idle", "loaded": False, "off": True, "course": None, "target_kw": 0.0,
        "delivered": made(Measured, power_kw=0.0)}  # fmt: skip
TRIP = "bank 2: exhaust over its limit"
MANY = (
    bench("alder-ridge", live=live(trip=TRIP, first_out=TRIP, alarms=3, unacknowledged=2, mode="cooling down",
                                   loaded=False, off=True)),
    bench("brook-mill", Life.LOST, 124.0, why="the connection broke without a farewell"),
    bench("cliff-farm", live=live(**REST)),
    bench("dyke-end", Life.STALE, 4.2, why="nothing comes of it"),
    bench("elm-lodge", Life.LEFT, 900.0, live=live(**REST), why="nobody needs it at 2026-11-25 12:00:00 +0000"),
    bench("fenwick", live=live(unacknowledged=1, alarms=1, first_out="bank 3: air is warm")),
    bench("gate-house", Life.WAITING, 30.0, live=None, state=made(State, mode="idle", off=True)),
    bench("hill-top", rehearsal=True),
    bench("northquay"),
)  # fmt: skip


def picture(*benches, **given):
    keys = {"clock": "12:00:00", "benches": benches or MANY}
    return Watched("mqtt://broker.invalid:1883", **keys | given)


def screen(shown, width=80, height=24):
    return "\n".join(plain(line).rstrip() for line in draw(shown, width, height)) + "\n"


def row(shown, name, width=200):
    return next(line for line in screen(shown, width, 40).splitlines()[2:] if name in line)


@pytest.mark.parametrize("size", SIZES)
def test_the_table_is_laid_out_as_it_was(size):
    as_it_was(screen(picture(cursor="real/fenwick"), *size), f"watch-{size[0]}x{size[1]}.txt")


def test_one_bench_is_laid_out_as_it_was():
    alarm = made(AlarmTold, unit="bank 3", text="air is warm", reaction="alarm", active=True, first_out=True)
    shown = bench(
        standing=made(Standing, alarms=(alarm,)), clock_s=35.2, missed=3, flaws=1, flaw="snapshot: is no JSON",
        run=made(Run, run="northquay-ladder", in_hand=True, totals={}),
        event=made(EventTold, text="set load 300 kW", data={}),
        live=live(units=(unit("bank 1"), unit("bank 2", stale=True, condition="lost", age_s=14.0))),
    )  # fmt: skip
    as_it_was(screen(picture(shown, cursor=shown.key, opened=True)), "watch-one-80x24.txt")


@settings(max_examples=150)
@given(st.integers(0, 210), st.integers(0, 62), st.booleans(), st.booleans(), st.sampled_from(("full", "ascii")))
def test_every_window_is_filled_exactly(width, height, opened, by_name, glyphs):
    shown = picture(cursor="real/northquay", opened=opened, by_name=by_name, glyphs=glyphs)
    exact(draw(shown, width, height), width, height if width else 0)


def test_ascii_means_ascii():
    for opened in (False, True):
        text = screen(picture(cursor="real/alder-ridge", opened=opened, glyphs="ascii"), 200, 60)
        assert not set(text) - {chr(c) for c in range(128)} - set("—…°")  # as on the console's pages


@pytest.mark.parametrize(
    ("given", "word"),
    [
        ({}, "RUNNING"),
        ({"life": Life.STALE}, "STALE"),
        ({"life": Life.LATE}, "LATE"),
        ({"life": Life.SILENT}, "SILENT"),
        ({"life": Life.LOST}, "LOST, LOAD WAS ON"),
        ({"life": Life.LOST, "live": live(**REST)}, "LOST"),
        ({"life": Life.LOST, "live": None}, "LOST"),
        ({"life": Life.LEFT, "live": live(**REST)}, "left"),
        ({"life": Life.LEFT}, "LEFT, LOAD WAS ON"),
        ({"life": Life.WAITING, "live": None}, "waiting"),
        ({"live": live(fault="ZeroDivisionError")}, "RUN HOST FAILED"),
        ({"live": live(dropped=True)}, "DROPPING"),
        ({"live": live(dropped=True, off=True)}, "ALL LOAD OFF"),
        ({"live": live(trip=TRIP)}, "TRIPPED"),
        ({"live": live(course=made(Course, held="time gap"))}, "HELD"),
        ({"live": live(course=made(Course, paused=True))}, "PAUSED"),
        ({"live": live(mode="idle", course=None)}, "LOAD BY HAND"),
        ({"live": live(**REST)}, "IDLE"),
        ({"why": "two run hosts tell of it in turn"}, "TOLD BY TWO"),
    ],
)
def test_the_state_is_a_word_and_never_that_of_a_bench_that_is_not_heard(given, word):
    assert word_of(bench(**given)) == word


def test_no_figure_of_a_bench_that_is_not_live_looks_live():
    for life in Life:
        if life is not Life.LIVE:
            text = row(picture(bench(life=life, age_s=124.0)), "northquay")
            assert "(299.6)" in text
            assert "(49.98)" in text
            assert "124 s" in text or "2 min" in text
            assert " 299.6 " not in text
            assert "RUNNING" not in text
    assert " 299.6 " in row(picture(bench()), "northquay")


def test_a_figure_that_the_bench_itself_calls_old_is_in_parentheses_though_the_bench_is_live():
    old = live(source=made(Source, hertz=50.01, stale=True), delivered=made(Measured, power_kw=12.5, stale=True))
    text = row(picture(bench(live=old)), "northquay")
    assert "(50.01)" in text
    assert "(12.5)" in text


def test_each_state_differs_from_its_neighbours_without_any_colour():
    """Shape and word together: what is told by colour is told by them too."""
    told = {(s.word, s.shape): s.mark for s in STATES if s.word}
    assert len(told) == len([s for s in STATES if s.word])
    assert {s.shape for s in STATES if s.mark is Mark.FAULTY} == {"×"}
    assert {s.shape for s in STATES if s.mark is Mark.ABNORMAL} == {"▲", "~"}
    assert not {s.shape for s in STATES if s.mark not in (Mark.FAULTY, Mark.ABNORMAL)} & {"×", "▲", "~"}


def test_the_worst_comes_first_and_of_equal_ones_those_with_load():
    names = [b.name for b in in_order(MANY)]
    assert names == [
        "brook-mill", "alder-ridge", "dyke-end", "fenwick", "hill-top", "northquay", "cliff-farm", "gate-house",
        "elm-lodge",
    ]  # fmt: skip
    assert [b.name for b in in_order(MANY, by_name=True)] == sorted(b.name for b in MANY)
    ranks = [state_of(b).trouble for b in in_order(MANY)]
    assert ranks == sorted(ranks)


def test_the_first_out_alarm_is_named_and_the_others_are_counted():
    assert f"{TRIP} (+2)" in row(picture(), "alder-ridge")
    assert "× brook-mill: LOST, LOAD WAS ON: the connection broke" in screen(picture(), 120).splitlines()[1]


def test_the_summary_counts_live_benches_and_real_kilowatts_only():
    first = screen(picture(), 120).splitlines()[0]
    assert "4 IN TROUBLE" in first
    assert "9 benches, 5 live, 3 to 5 with load on, 899 kW " in first  # the rehearsal's are none
    assert "2 benches, 2 live, 1 with load on, 300 kW " in screen(picture(bench(), bench("b", live=live(**REST))))
    assert "1 bench, 0 live, 0 to 1 with load on " in screen(picture(bench(life=Life.STALE)))


def test_a_load_by_hand_is_called_so_in_trouble_too():
    by_hand = REST | {"loaded": True, "off": False}
    assert "LOAD BY HAND" in row(picture(bench(live=live(**by_hand))), "northquay")
    hot = picture(bench(live=live(**by_hand | {"unacknowledged": 1, "alarms": 1, "first_out": "bank 1: warm"})))
    assert "▲ northquay: LOAD BY HAND: bank 1: warm" in screen(hot)


def test_without_a_broker_that_is_what_is_said_first():
    shown = picture(cut="connection refused; tried again in 4 s")
    assert "NOT LIVE: connection refused; tried again in 4 s" in screen(shown).splitlines()[1]
    assert "NOT LIVE" in screen(shown, 40, 1)


def test_before_anything_has_come_it_says_where_it_listens():
    assert "nothing has come yet; listening at mqtt://broker.invalid:1883" in screen(
        Watched("mqtt://broker.invalid:1883")
    )


def test_two_hundred_benches_scroll_around_the_cursor_and_every_one_can_be_reached():
    many = tuple(bench(f"bench-{n:03d}") for n in range(200))
    for at in (0, 99, 199):
        text = screen(picture(*many, cursor=f"real/bench-{at:03d}"))
        assert f">■  bench-{at:03d}" in text


def test_one_bench_that_is_longer_than_the_window_can_be_scrolled_to_its_end():
    shown = bench(live=live(units=tuple(unit(f"bank {n}") for n in range(1, 61))))
    watched = picture(shown, cursor=shown.key, opened=True)
    assert "more below" in screen(watched)
    watched.scroll = furthest(watched, 80, 24)
    assert "bank 60" in screen(watched)


def test_words_of_a_stranger_steer_no_terminal():
    evil = bench("\x1b[2Jx\u202ey", why="\x1b]0;x\x07", life=Life.LOST, flaw="\x9b1m")
    for opened in (False, True):
        exact(draw(picture(evil, cursor=evil.key, opened=opened, stray="\x1b[31m", strays=1), 120, 30), 120, 30)


def test_load_is_on_where_that_was_the_last_word():
    assert loaded(bench())
    assert loaded(bench(live=live(loaded=False, off=False)))
    assert not loaded(bench(live=live(**REST)))
    assert not loaded(bench(live=None))
