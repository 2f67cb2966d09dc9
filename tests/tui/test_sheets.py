"""Every form, from the key that opens it to the order that comes out of it. Site and people are invented."""

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from textual import events

from benchctl.core import readings
from benchctl.core.causes import ROWS
from benchctl.core.overrides import OVERRIDES
from benchctl.core.readings import BY_NAME, GAUGES
from benchctl.core.scenario import FAULTS
from benchctl.core.shown import TripShown
from benchctl.tui.extras import Extras, Written
from benchctl.tui.form import Choices, Field
from benchctl.tui.sheets.chain import MEANS
from benchctl.tui.sheets.rehearsal import places
from benchctl.tui.sheets.typed import flaw, load_kw, time_s
from benchctl.tui.sheets.words import taken, within
from benchctl.tui.view.picture import Page
from tests.tui.desk import BANKS, PLAN, Desk, desk
from tests.tui.pictures import alarm, bank, leg, told

CHARGED: dict[str, Any] = {"charge": "Kim"}


def pick(d: Desk, label: str) -> None:
    """Put the mark on a row of the list."""
    choices = d.form.query_one(Choices)
    choices.highlighted = next(i for i, p in enumerate(d.form.sheet.picks) if p.label == label)


async def test_a_load_by_hand_asks_for_charge_first_where_nobody_has_it():
    async with desk() as d:
        await d.press("l")
        assert d.form.sheet.title == "Take charge"
        assert "hard-wired emergency stop" in d.said
        await d.press("enter")
        await d.until(lambda: d.form.sheet.title == "Load by hand")
        await d.type("120")
        await d.press("enter")
        await d.until(lambda: not d.open)
        assert d.host.orders == [("take charge", {"why": "cautions confirmed"}), ("set load", {"value": 120.0})]
        assert ("who", "Kim") in d.host.asked


async def test_a_load_above_the_limit_is_not_sent_and_what_was_typed_stays():
    async with desk(**CHARGED) as d:
        await d.press("l")
        await d.type("401")
        await d.press("enter")
        await d.until(lambda: "401 kW is above the limit of 400 kW" in d.said)
        assert d.form.query_one(Field).value == "401"
        assert d.host.orders == []


async def test_what_is_no_load_is_told_in_the_form():
    async with desk(**CHARGED) as d:
        await d.press("l")
        for typed in ("-5", "x", "nan", "inf", "1e999", ""):
            d.form.query_one(Field).value = typed
            d.form.wrong("")
            await d.press("enter")
            assert f"found {typed!r}, expected" in d.said
        assert d.host.orders == []


async def test_what_the_run_host_refuses_stands_in_the_form_and_nothing_is_lost():
    async with desk(**CHARGED) as d:
        d.host.refuses["set load"] = "load is on that this session did not start"
        await d.press("l")
        await d.type("10")
        await d.press("enter")
        await d.until(lambda: "load is on that this session did not start" in d.said)
        assert d.form.query_one(Field).value == "10"


async def test_a_form_can_be_left_while_the_run_host_has_not_answered():
    async with desk(**CHARGED) as d:
        d.host.silent_s = 30.0
        await d.press("l")
        await d.type("10")
        await d.press("enter")
        await d.until(lambda: d.host.orders)
        assert "asking the run host" in d.said
        await d.press("enter", "escape")  # a second Enter asks nothing again
        await d.until(lambda: not d.open)
        assert len(d.host.orders) == 1


async def test_charge_wants_a_name():
    async with desk() as d:
        await d.press("c")
        d.form.query_one(Field).value = "  "
        await d.press("enter")
        assert "say who watches" in d.said
        assert d.host.orders == []


async def test_whoever_took_charge_gives_the_orders_that_follow():
    async with desk() as d:
        await d.press("c")
        d.form.query_one(Field).value = "Lee"
        await d.press("enter")
        await d.until(lambda: not d.open)
        d.host.asked.clear()
        await d.press("u")
        await d.until(lambda: len(d.host.orders) == 2)
        assert d.host.asked == [("who", "Lee")]


async def test_a_program_is_picked_and_the_verdict_of_the_run_host_is_read():
    async with desk(**CHARGED) as d:
        await d.press("f")
        assert [p.label for p in d.form.sheet.picks] == ["ladder", "blocks", "another file …"]
        await d.press("down", "enter")
        await d.until(lambda: d.form.sheet.title == "Program blocks")
        assert "It can be run, and is chosen. 10:00 long, at most 400 kW planned." in d.said
        assert "Warning: amps near the limit" in d.said
        plan = dict(d.console.picture.plan or {})
        assert plan.pop("written") == Written("blocks", "title: It", (("monthly", "title: Monthly"),))
        assert plan == {**PLAN, "name": "blocks"}
        await d.press("enter")
        assert d.console.picture.cursor.page is Page.PROGRAM
        assert d.host.asked[-1] == ("program", "blocks", "title: It", False)


async def test_a_program_of_ones_own_is_found_by_its_path():
    async with desk(**CHARGED) as d:
        await d.press("f", "down", "down", "enter")
        await d.until(lambda: d.form.query(Field))
        d.form.query_one(Field).value = "./nix.yaml"
        await d.press("enter")
        await d.until(lambda: "./nix.yaml: no such program" in d.said)
        d.form.query_one(Field).value = "./mine.yaml"
        await d.press("enter")
        await d.until(lambda: d.form.sheet.title == "Program mine")


async def test_a_program_that_cannot_be_run_says_why_and_is_not_started():
    async with desk(**CHARGED) as d:
        d.host.plan = PLAN | {"feasible": False, "refusals": ["needs 8 banks (555.6 kW)"]}
        await d.press("f", "enter")
        await d.until(lambda: d.form.sheet.title == "Program ladder")
        assert "It cannot be run here." in d.said
        assert "Refused: needs 8 banks (555.6 kW)" in d.said
        await d.press("enter", "g")
        assert not d.open
        assert "cannot be run here" in d.hint


async def test_too_little_room_for_the_record_can_be_taken_in_full_sight():
    async with desk(**CHARGED) as d:
        d.host.plan = PLAN | {"feasible": False, "refusals": ["5 MB short: make room, or say that you want it anyway"]}
        await d.press("f", "enter")
        await d.until(lambda: d.form.sheet.picks[-1].key == "anyway")
        assert d.form.sheet.picks[d.form.sheet.first].key == "plan"
        await d.press("down", "enter")
        await d.until(lambda: d.host.asked[-1] == ("program", "ladder", "title: It", True))


async def test_a_start_means_the_plan_that_was_read_and_charge_comes_first():
    async with desk() as d:
        d.console.picture.plan = {**PLAN, "name": "ladder"}
        await d.press("g")
        assert d.form.sheet.title == "Take charge"
        await d.press("enter")
        await d.until(lambda: d.form.sheet.title == "Start the program")
        assert "ladder: 10:00, up to 400 kW." in d.said
        assert "Real banks are loaded." in d.said
        await d.press("enter")
        await d.until(lambda: not d.open)
        assert d.host.orders[-1] == ("start", {"text": "ab" * 32})
        assert d.console.picture.cursor.page is Page.PROGRAM


async def test_after_a_run_the_same_program_is_chosen_once_more_by_its_start():
    async with desk(mode="done", **CHARGED) as d:
        d.console.picture.plan = {**PLAN, "name": "ladder", "written": Written("ladder", "title: It")}
        d.host.plan = PLAN | {"feasible": False, "refusals": ["bank 2 has not been met"]}
        await d.press("g", "enter")
        await d.until(lambda: "bank 2 has not been met" in d.said)
        assert d.host.orders == []
        d.host.plan = PLAN
        await d.press("enter")
        await d.until(lambda: not d.open)
        assert d.host.asked[-2] == ("program", "ladder", "title: It", False)
        assert d.host.orders == [("start", {"text": "ab" * 32})]


async def test_a_start_in_a_rehearsal_says_that_no_real_bank_is_switched():
    async with desk(welcomed={"rehearsal": True}, **CHARGED) as d:
        d.console.picture.plan = {**PLAN, "name": "ladder"}
        await d.press("g")
        assert "no real bank is switched" in d.said


async def test_a_hold_is_extended_by_what_is_typed():
    running: dict[str, Any] = {"mode": "running", "program": "ladder", "leg": leg(to_go_s=125.0), **CHARGED}
    async with desk(**running) as d:
        await d.press("e")
        assert "Segment 2: hold at 300 kW, 2:05 to go." in d.said
        await d.type("5 min")
        await d.press("enter")
        await d.until(lambda: not d.open)
        assert d.host.orders == [("extend", {"value": 300.0})]


async def test_a_skip_says_what_is_left_out_and_means_that_segment_only():
    running: dict[str, Any] = {"mode": "running", "program": "ladder", "leg": leg(to_go_s=125.0), **CHARGED}
    async with desk(**running) as d:
        await d.press("k")
        assert "not demonstrated" in d.said
        assert "Segment 2: hold at 300 kW, 2:05 to go." in d.said
        await d.show(**running | {"leg": leg(index=2, segment=3)})
        await d.press("enter")
        await d.until(lambda: "the program has gone on meanwhile" in d.said)
        assert d.host.orders == []
        await d.press("escape", "k", "enter")
        await d.until(lambda: d.host.orders == [("skip", {})])


async def test_a_remark_goes_into_the_record():
    async with desk() as d:
        await d.press("m", "enter")
        assert "nothing is written yet" in d.said
        await d.type("oil [ALARM] seen")
        await d.press("enter")
        await d.until(lambda: d.host.orders == [("remark", {"text": "oil [ALARM] seen"})])


async def test_a_set_point_is_written_to_that_bank_alone():
    async with desk(**CHARGED) as d:
        d.console.picture.cursor.bank = 2
        await d.press("5", "space")
        assert d.form.sheet.title == "bank 3: load"
        await d.type("151")
        await d.press("enter")
        await d.until(lambda: "151 kW is above its 150 kW" in d.said)
        d.form.query_one(Field).value = "35"
        await d.press("enter")
        await d.until(lambda: d.host.orders == [("switch", {"unit": "bank 3", "value": 35.0})])


async def test_an_alarm_is_shelved_with_reason_and_end():
    async with desk(alarms=(alarm("volts off", "", text="volts more than 5 % off"),)) as d:
        await d.press("4", "z")
        assert "volts more than 5 % off" in d.said
        await d.press("enter", "enter")
        assert "give a reason" in d.said
        why, time = d.form.query(Field)
        why.value = "regulator is being set"
        time.value = "9 h"
        time.focus()
        await d.press("enter")
        assert "at most 8 h" in d.said
        time.value = "20"
        await d.press("enter")
        shelved = {"text": "volts off", "why": "regulator is being set", "value": 1200.0}
        await d.until(lambda: d.host.orders == [("shelve", shelved)])


async def test_alarms_about_air_and_heat_are_never_shelved():
    rows = ("airflow lost", "exhaust warm", "over-temperature", "inlet warm", "bit 7 of bank 1")
    async with desk(alarms=tuple(alarm(row) for row in rows)) as d:
        await d.press("4")
        for index in range(len(rows)):
            d.console.picture.cursor.alarm, d.console.picture.hint = index, ""
            await d.press("z")
            assert not d.open
            assert "none of air, heat or absence" in d.hint
        assert d.host.orders == []


def test_no_cause_about_air_or_heat_may_be_shelved():
    # IEC 62682 leaves it to the alarm philosophy which alarms may be shelved; ours: none about airflow or temperature.
    heat = ("air", "fan", "exhaust", "temperature", "hot", "cool", "inlet")
    assert not [row.key for row in ROWS if row.shelve and any(word in row.key for word in heat)]
    assert [row.key for row in ROWS if row.shelve]


async def test_an_alarm_that_is_shelved_is_brought_back():
    aside = alarm("volts off", "", shelved_s=600.0, shelved_by="Lee", shelved_why="regulator is being set")
    async with desk(alarms=(aside,)) as d:
        await d.press("4", "z")
        assert "Lee has shelved it for 10:00 more: regulator is being set" in d.said
        _, time = d.form.query(Field)
        time.value = "end"
        time.focus()
        await d.press("enter")
        ended = {"text": "volts off", "why": "regulator is being set", "value": 0.0}
        await d.until(lambda: d.host.orders == [("shelve", ended)])


async def test_a_reset_says_what_was_first_out_and_starts_nothing():
    trip = TripShown("airflow lost", "bank 2", "bank 2: airflow lost", 3, 120.0)
    first = alarm("airflow lost", "bank 2", text="bank 2: airflow lost", first_out=True, latched=True)
    async with desk(trip=trip, alarms=(first,), program="ladder") as d:
        await d.press("r")
        assert "Tripped in segment 3: bank 2: airflow lost" in d.said
        assert "First out: bank 2: airflow lost" in d.said
        assert "Check fan, belts, louvres, inlet." in d.said
        assert "Starts nothing" in d.said
        await d.press("enter")
        await d.until(lambda: d.host.orders == [("reset", {})])


async def test_a_bank_that_is_back_is_joined_with_a_reason_where_another_answers():
    async with desk(**CHARGED) as d:
        await d.press("j")
        assert [p.key for p in d.form.sheet.picks] == ["bank 2"]
        await d.press("enter")
        await d.until(lambda: d.form.sheet.title == "Join bank 2")
        await d.type("spare")
        await d.press("enter")
        await d.until(lambda: d.host.orders == [("join", {"unit": "bank 2", "why": "spare"})])


async def test_load_found_on_is_named_before_it_is_adopted():
    async with desk(replace(BANKS[0], found=True, read_back_kw=100.0), BANKS[1], **CHARGED) as d:
        await d.press("d")
        assert "bank 1 100 kW" in d.said
        assert "can only be lowered" in d.said
        await d.press("enter")
        await d.until(lambda: d.host.orders == [("adopt", {})])


async def test_fans_are_confirmed_of_the_bank_under_the_cursor():
    async with desk(alarms=(alarm("hot, fans stopped", "bank 2"),)) as d:
        await d.press("down", "w", "enter")
        await d.until(lambda: d.host.orders == [("confirm fans", {"unit": "bank 2"})])


async def test_an_override_says_what_it_means_and_wants_a_reason():
    async with desk(overrides=(("check load", "", "Lee", "meter is away"),)) as d:
        await d.press("o")
        assert "In force: check load, Lee: meter is away" in d.said
        pick(d, "cool-down")
        await d.press("enter")
        await d.until(lambda: d.form.sheet.title == "Override: cool-down")
        await d.press("enter")
        await d.until(lambda: d.form.query(Field))
        assert "may still be hot" in d.said
        await d.press("enter")
        assert "needs a reason" in d.said
        await d.type("rain")
        await d.press("enter")
        await d.until(lambda: d.host.orders == [("override", {"text": "cool-down", "unit": "bank 1", "why": "rain"})])


def test_every_override_says_what_it_costs():
    assert set(MEANS) == {row.what for row in OVERRIDES}


async def test_the_pace_of_a_rehearsal_is_chosen():
    async with desk(welcomed={"rehearsal": True}) as d:
        await d.press("x")
        assert [p.label for p in d.form.sheet.picks] == ["× 1", "× 10", "× 60", "× max"]
        pick(d, "× max")
        await d.press("enter")
        await d.until(lambda: d.host.asked[-1] == ("pace", None))
        await d.until(lambda: d.console.picture.pace_asked is None)


async def test_faults_and_paces_are_of_rehearsals_only():
    async with desk() as d:
        await d.press("x", "b")
        assert not d.open


async def test_a_fault_asks_on_what_how_much_and_how_long():
    async with desk(welcomed={"rehearsal": True}) as d:
        await d.press("b")
        assert [p.label for p in d.form.sheet.picks] == [f.name for f in FAULTS]
        pick(d, "contactor will not close")
        await d.press("enter")
        await d.until(lambda: d.form.sheet.title == "Break: contactor will not close")
        await d.press("down", "enter")
        await d.until(lambda: d.form.sheet.title == "Break: contactor will not close on bank 2")
        await d.press("enter", "enter")
        assert "say stage number, from 1" in d.said
        value, time = d.form.query(Field)
        value.value, time.value = "2", "30"
        time.focus()
        await d.press("enter")
        await d.until(lambda: d.host.asked[-1] == ("inject", "contactor will not close", "bank 2", 2.0, 30.0))


async def test_a_fault_is_ended_by_hand():
    async with desk(welcomed={"rehearsal": True}) as d:
        await d.press("b", "enter")
        await d.until(lambda: d.form.sheet.title == "Break: fan fails")
        await d.press("enter")
        await d.until(lambda: d.form.query(Field))
        await d.type("end")
        await d.press("enter")
        await d.until(lambda: d.host.asked[-1] == ("heal", "fan fails", "bank 1"))


async def test_every_fault_finds_what_it_can_be_on():
    there = {
        "unit": ["bank 1", "bank 2", "bank 3"], "instrument": ["source meter"], "source": ["source"],
        "cable": ["127.0.0.1:501", "127.0.0.1:502", "127.0.0.1:503", "127.0.0.1:600"],
    }  # fmt: skip
    async with desk(welcomed={"rehearsal": True}) as d:
        for fault in FAULTS:
            assert [p.key for p in places(d.console, fault)] == there[fault.on], fault.name


async def test_moving_away_names_the_load_that_stays_behind():
    async with desk(loaded=True, off=False, possible_kw=300.0, **CHARGED) as d:
        await d.press("s")
        await d.until(lambda: d.open)
        assert "Left behind: 300 kW on" in d.said
        pick(d, "millrace · rehearsal")
        await d.press("enter")
        await d.until(lambda: len(d.attached) == 2)
        assert (d.attached[-1].site, d.attached[-1].rehearse) == ("millrace", True)
        assert d.host.closed
        assert d.host.orders == []


async def test_staying_where_one_is_moves_nothing():
    async with desk() as d:
        await d.press("s")
        await d.until(lambda: d.open)
        assert "Left behind" not in d.said
        await d.press("enter")
        await d.until(lambda: not d.open)
        assert len(d.attached) == 1


async def test_without_files_the_forms_say_so():
    async with desk(extras=Extras()) as d:
        await d.press("s")
        await d.until(lambda: "no site is known" in d.hint)
        assert not d.open


@given(st.floats(0.0, 1e5, allow_nan=False), st.sampled_from(["{:g}", "{:g} kW", " {:g}kw "]))
def test_a_typed_load_is_read_as_it_is_meant(value, shape):
    text = shape.format(value)
    assert load_kw(text) == pytest.approx(float(f"{value:g}"))
    assert load_kw(text.replace(".", ",")) == load_kw(text)


def test_megawatts_are_a_thousand_kilowatts():
    assert load_kw("0,3 MW") == pytest.approx(300.0)


@given(st.text(max_size=12))
def test_whatever_is_typed_is_a_load_or_told_in_words(text):
    said = flaw(load_kw)(text)
    assert "expected" in said if said else 0.0 <= load_kw(text) < float("inf")


@given(st.text(alphabet="0123456789 smhin:.,-e", max_size=8))
def test_whatever_is_typed_is_a_time_or_told_in_words(text):
    said = flaw(time_s)(text)
    assert "expected" in said if said else 0.0 < time_s(text) <= 86400.0


@pytest.mark.parametrize(
    ("text", "bare", "seconds"),
    [("90", "s", 90.0), ("90 s", "", 90.0), ("5 min", "", 300.0), ("5", "min", 300.0), ("1h", "", 3600.0),
     ("2:30", "", 150.0), ("1,5 min", "", 90.0), ("24 h", "", 86400.0)],
)  # fmt: skip
def test_times_are_read_with_their_unit(text, bare, seconds):
    assert time_s(text, bare) == seconds


@pytest.mark.parametrize("text", ["90", "25 h", "0 s", "-1 s", "5 x", "2:75", "1e9 h"])
def test_a_time_without_unit_or_beyond_a_day_is_refused(text):
    with pytest.raises(ValueError, match="expected"):
        time_s(text)


async def test_words_that_do_not_fit_the_window_can_be_turned():
    async with desk(size=(60, 12)) as d:
        await d.press("c")
        box = d.form.query_one("#box")
        assert box.max_scroll_y > 0
        await d.press("pagedown")
        assert box.scroll_y > 0


async def test_a_bank_can_be_named_like_markup():
    async with desk(bank("[/] x"), bank("[b]2[/b]", joined=False), **CHARGED) as d:
        await d.press("j")
        assert d.form.sheet.picks[0].label == "[b]2[/b]"
        await d.press("enter")
        await d.until(lambda: d.form.sheet.title == "Join [b]2[/b]")
        assert "[b]2[/b] takes part again" in d.said


READINGS: dict[str, Any] = CHARGED | {
    "mode": "running", "leg": leg(), "readings": ("oil_kpa", "coolant_c"), "reading_number": 3,
    "reading_due_s": -70.0,
}  # fmt: skip


async def test_a_reading_asks_what_the_program_asks_and_checks_what_can_be_true():
    async with desk(**READINGS) as d:
        d.console.picture.story.add(told("reading", "reading 2", data={"number": 2, "oil_kpa": 412.0}))
        await d.press("v")
        assert "Reading 3: DUE since 1:10." in d.said
        oil, coolant, ago = d.form.query(Field)
        assert oil.value == "412"
        oil.value, coolant.value = "420", "880"
        ago.focus()
        await d.press("enter")
        assert "coolant temperature, °C: found '880', expected -40 to 130 °C" in d.said
        coolant.value, ago.value = "88,5", "2 min"
        ago.focus()
        await d.press("enter")
        await d.until(lambda: d.host.orders == [("reading", {"text": "oil_kpa=420; coolant_c=88.5", "value": 120.0})])


async def test_what_is_typed_takes_the_place_of_what_stood_there_and_so_does_a_paste():
    async with desk(**READINGS) as d:
        d.console.picture.story.add(
            told("reading", "reading 2", data={"number": 2, "oil_kpa": 412.0, "coolant_c": 80.0})
        )
        await d.press("v", "4", "2", "0", "enter")
        oil, coolant, _ = d.form.query(Field)
        assert oil.value == "420"
        coolant.post_message(events.Paste("88\n"))
        await d.until(lambda: coolant.value == "88")


async def test_what_was_not_read_is_left_out_and_an_empty_reading_is_none():
    async with desk(**READINGS | {"reading_due_s": 40.2}) as d:
        await d.press("v")
        assert "Reading 3: due in 0:41." in d.said
        await d.press("enter", "enter", "enter")
        await d.until(lambda: "nothing is typed in yet" in d.said)
        oil, _, ago = d.form.query(Field)
        oil.value = "400"
        ago.focus()
        await d.press("enter")
        await d.until(lambda: d.host.orders == [("reading", {"text": "oil_kpa=400", "value": 0.0})])


async def test_where_no_program_asks_a_gauge_is_picked():
    async with desk() as d:
        await d.press("v")
        assert [p.key for p in d.form.sheet.picks] == list(BY_NAME)
        await d.press("enter")
        await d.until(lambda: d.form.query(Field))
        assert "oil pressure, kPa" in d.said


@given(st.sampled_from(GAUGES), st.floats(-1e7, 1e7))
def test_what_a_field_takes_the_run_host_takes_too(gauge, value):
    text = f"{value:.3f}"
    plain = f"{gauge.name}={float(text):.6f}".rstrip("0").rstrip(".")
    taken = not isinstance(readings.values_of(plain), str)
    assert (within(gauge)(text) == "") == taken


async def test_the_newest_reading_is_the_first_to_be_corrected_and_only_what_is_changed_is_sent():
    async with desk(**READINGS) as d:
        story = d.console.picture.story
        story.add(told("reading", "reading 1", 10.0, data={"number": 1, "correction": False, "oil_kpa": 400.0}))
        story.add(told("reading", "reading 2", 20.0, data={"number": 2, "oil_kpa": 412.0, "coolant_c": 88.55}))
        await d.press("V")
        assert [p.label for p in d.form.sheet.picks] == ["reading 2, 12:00:20", "reading 1, 12:00:10"]
        await d.press("enter")
        await d.until(lambda: d.form.query(Field))
        fields = list(d.form.query(Field))
        assert [f.value for f in fields] == ["412", "88.5", ""]
        assert "stays legible" in d.said
        fields[0].value = "42"
        await d.press("enter", "enter", "enter")
        await d.until(lambda: d.host.orders == [("reading", {"text": "correct 2: oil_kpa=42"})])


async def test_a_correction_that_only_tells_another_time_keeps_the_values_as_they_were_typed():
    async with desk(**READINGS) as d:
        d.console.picture.story.add(told("reading", "reading 1", data={"number": 1, "coolant_c": 88.55}))
        await d.press("V", "enter")
        await d.until(lambda: d.form.query(Field))
        await d.press("enter")
        await d.type("3 min")
        await d.press("enter")
        await d.until(lambda: d.host.orders == [("reading", {"text": "correct 1: coolant_c=88.55", "value": 180.0})])


async def test_a_correction_that_changes_nothing_or_takes_a_value_back_is_told_so():
    async with desk(**READINGS) as d:
        d.console.picture.story.add(told("reading", "reading 1", data={"number": 1, "oil_kpa": 400.0}))
        await d.press("V", "enter")
        await d.until(lambda: d.form.query(Field))
        await d.press("enter", "enter")
        await d.until(lambda: "nothing is changed" in d.said)
        d.form.query(Field).first().value = ""
        await d.press("enter", "enter")
        await d.until(lambda: "a reading cannot be taken back, only corrected" in d.said)
        assert d.host.orders == []


async def test_a_correction_that_the_run_host_refuses_stays_open_with_its_words():
    async with desk(**READINGS) as d:
        d.host.refuses["reading"] = "reading 1 was not taken: 0 are there to be corrected"
        d.console.picture.story.add(told("reading", "reading 1", data={"number": 1, "oil_kpa": 400.0}))
        await d.press("V", "enter")
        await d.until(lambda: d.form.query(Field))
        d.form.query(Field).first().value = "410"
        await d.press("enter", "enter")
        await d.until(lambda: "was not taken" in d.said)


async def test_without_a_reading_nothing_can_be_corrected_and_that_is_said():
    async with desk(**READINGS) as d:
        await d.press("V")
        assert "no reading has been taken" in d.hint
        assert not d.open


async def test_readings_of_the_run_before_cannot_be_corrected_and_earlier_corrections_are_shown():
    async with desk(**READINGS) as d:
        for number, data in ((1, {"oil_kpa": 1.0}), (2, {"oil_kpa": 2.0}), (1, {"oil_kpa": 300.0}),
                             (1, {"oil_kpa": 310.0, "correction": True})):  # fmt: skip
            d.console.picture.story.add(told("reading", "reading", data={"number": number} | data))
        assert {n: values for n, (_, values) in taken(d.console).items()} == {1: {"oil_kpa": 310.0}}


async def test_a_session_is_declared_unattended_after_the_cautions_by_somebody_with_a_name():
    async with desk(**CHARGED) as d:
        await d.press("U")
        assert d.form.sheet.title == "Unattended"
        assert "hard-wired emergency stop" in d.said
        assert "load stays on when every console is gone" in d.said
        await d.press("enter")
        await d.until(lambda: not d.open)
        why = "cautions confirmed, declared unattended"
        assert d.host.orders == [("take charge", {"text": "unattended", "why": why})]
        assert ("who", "Kim") in d.host.asked


async def test_where_the_site_does_not_allow_it_that_is_said():
    async with desk(**CHARGED) as d:
        d.host.refuses["take charge"] = "the site file does not allow unattended sessions"
        await d.press("U", "enter")
        await d.until(lambda: "the site file does not allow unattended sessions" in d.said)
        await d.press("escape")
        d.console.picture.plan = PLAN
        await d.press("U")
        assert not d.open
        assert "does not allow unattended sessions: somebody must be there" in d.hint


async def test_a_session_that_is_unattended_can_have_somebody_again():
    async with desk(unattended=True, **CHARGED) as d:
        await d.press("U")
        assert d.form.sheet.title == "Attended again"
        await d.press("enter")
        await d.until(lambda: d.host.orders == [("take charge", {"why": "somebody is there again"})])


VERDICTS = [{"rule_set": "monthly", "standing": "not satisfied", "title": "Monthly", "rules": (), "notes": ()}]


async def test_a_program_goes_to_the_run_host_with_the_rule_sets_that_it_names():
    async with desk() as d:
        d.host.plan = PLAN | {"verdicts": VERDICTS}
        await d.press("f")
        pick(d, "blocks")
        await d.press("enter")
        await d.until(lambda: "Rule sets: monthly: not satisfied." in d.said)
        assert d.host.judged_by == [(True, (("monthly", "title: Monthly"),))]
        await d.press("enter")
        assert "× not satisfied" in d.text


async def test_rule_sets_that_are_picked_judge_the_plan_at_once_and_choose_nothing():
    async with desk() as d:
        await d.press("f")
        pick(d, "blocks")
        await d.press("enter")
        await d.until(lambda: "to the plan" in d.said)
        await d.press("enter", "j")
        assert [p.label for p in d.form.sheet.picks] == ["[ ] mine", "[ ] monthly"]
        assert "named by the program" in d.form.sheet.picks[1].beside
        d.host.plan = PLAN | {"verdicts": VERDICTS, "sha256": "cd" * 32}
        await d.press("enter")
        await d.until(lambda: [p.label for p in d.form.sheet.picks] == ["[x] mine", "[ ] monthly"])
        choose, by = d.host.judged_by[-1]
        assert (choose, [name for name, _ in by]) == (False, ["monthly", "mine"])
        plan = d.console.picture.plan
        assert plan is not None
        assert plan["verdicts"] == VERDICTS
        assert plan["sha256"] == PLAN["sha256"], "what is chosen stays what it was"
        await d.press("enter")
        await d.until(lambda: [p.label for p in d.form.sheet.picks] == ["[ ] mine", "[ ] monthly"])
        assert [name for name, _ in d.host.judged_by[-1][1]] == ["monthly"]


async def test_a_rule_set_that_cannot_judge_is_not_picked_and_that_is_said():
    async with desk() as d:
        await d.press("f", "enter")
        await d.until(lambda: "to the plan" in d.said)
        await d.press("enter", "j")
        d.host.refuses["program"] = "a rule set cannot be read: mine"
        await d.press("enter")
        await d.until(lambda: "a rule set cannot be read: mine" in d.said)
        assert d.console.picture.rule_sets == ()


async def test_where_no_rule_set_is_known_that_is_said():
    async with desk(extras=Extras()) as d:
        await d.press("2", "j")
        assert "no rule set is known here" in d.hint
