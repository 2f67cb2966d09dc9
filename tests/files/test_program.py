"""Program files. B1, B3, B4: input values of field cases load as they are meant; everything else is our own rule."""

import pytest

from benchctl.core.program import (
    Block,
    Drop,
    ExpectLoss,
    Hold,
    LoadIs,
    Ramp,
    Repeat,
    Rounding,
    Silence,
    Staircase,
    Starts,
    Target,
    Wait,
)
from benchctl.files import read_program
from benchctl.files.program import written_out
from tests.files.paper import flaws, marked, read

HEAD = "title: t\nsegments:\n"


def program(*segments):
    return read("program", HEAD + "".join(f"  - {s}\n" for s in segments))


def test_b1_zero_length_and_flat_ramps_load():
    """kizniche/Mycodo PR 1420 and siteswapjuggler/RAMP#9: ramps of no height or no length."""
    found = program(
        "ramp: {to: 0 kW, over: 60 s}", "ramp: {to: 100 kW, over: 0 s}", "hold: {for: 10 s}", "hold: {for: 0 s}"
    )
    assert found.segments == (
        Ramp(Target(0.0), 60.0, line=3),
        Ramp(Target(100.0), 0.0, line=4),
        Hold(10.0, line=5),
        Hold(0.0, line=6),
    )


@pytest.mark.parametrize("bad", ["-60 s", "nan s", ".nan", ".inf", "-.inf", "1e3 s", "60", "0"])
def test_b1_negative_durations_and_no_numbers_are_refused_with_their_line(bad):
    text, place = marked(HEAD + f"  - hold: {{for: 1 s}}\n  - ramp: {{to: 0 kW, over: ¶{bad}}}\n")
    (found,) = flaws("program", text)
    assert found.startswith(place)


def test_b3_targets_finer_than_any_stage_keep_their_value():
    assert program("ramp: {to: 333 kW, over: 0 s}").segments[0].to == Target(333.0)
    assert read("program", "rounding: at least\n" + HEAD + "  - block: {to: 333 kW}\n").rounding is Rounding.AT_LEAST


def test_b4_a_staircase_keeps_its_ends_exactly():
    """Exopy/exopy#78 and numpy#5808: three times 0.1 is not 0.3, so the ends are read and never summed up."""
    mega, percent, nine = program(
        "staircase: {from: 0 MW, to: 0.3 MW, steps: 3, hold: 1 s}",
        "staircase: {from: 25 %, to: 100 %, steps: 8, hold: 1 s}",
        "staircase: {from: 25 %, to: 100 %, steps: 9, hold: 1 s}",
    ).segments
    assert (mega.start.kw(400), mega.end.kw(400), mega.steps) == (0.0, 300.0, 3)
    assert (percent.start.kw(400), percent.end.kw(400), percent.steps) == (100.0, 400.0, 8)
    assert nine.end == Target(100.0, percent=True)


def test_every_kind_of_segment_is_read():
    found = program(
        "ramp: {to: 50 %, over: 1 min, label: up}",
        "hold: {for: 30 min, at: 200 kW, starts: in band, band: 3 %, continuous: true}",
        "block: {to: 0 %, declared_rejection: true}",
        "drop: {label: all off}",
        "wait: {prompt: ready?, timeout: 10 min, if_silent: stay}",
        "staircase: {from: 25 %, to: 75 %, steps: 2, hold: 5 s, ramp: 2 s}",
        "expect_loss: {within: 2 min, then: re-apply, held: 10 s, step: 20 %, every: 4 s}",
        "repeat: {times: 3, segments: [hold: {for: 1 s}]}",
    )
    assert found.segments == (
        Ramp(Target(50.0, True), 60.0, "up", 3),
        Hold(1800.0, Target(200.0), Starts.IN_BAND, 3.0, True, "", 4),
        Block(Target(0.0, True), True, "", 5),
        Drop("all off", 6),
        Wait("ready?", 600.0, Silence.STAY, "", 7),
        Staircase(Target(25.0, True), Target(75.0, True), 2, 5.0, 2.0, Starts.AT_ONCE, "", 8),
        ExpectLoss(120.0, True, 10.0, 20.0, 4.0, "", 9),
        Repeat(3, (Hold(1.0, line=10),), "", 10),
    )
    assert written_out(found.segments) == 7 + 2 + 3


def test_the_head_of_a_program_is_read():
    found = read(
        "program",
        "load_is: source total\nrounding: at most\ntrim: true\nstage_check: true\ncheck_load: false\n"
        "source_cooldown: 5 min\nreading_interval: 1 min\nhold_start_timeout: 2 min\nif_silent: go on\n"
        "readings: [oil_kpa, coolant_c]\n"
        "start_at: 2027-04-12T06:00:00+02:00\n" + HEAD + "  - hold: {for: 1 s}\n",
    )
    assert (found.name, found.title, found.load_is, found.rounding) == ("x", "t", LoadIs.SOURCE_TOTAL, Rounding.AT_MOST)
    assert (found.trim, found.stage_check, found.check_load, found.if_silent) == (True, True, False, Silence.GO_ON)
    assert (found.source_cooldown_s, found.reading_interval_s, found.hold_start_timeout_s) == (300.0, 60.0, 120.0)
    assert found.start_at == "2027-04-12T06:00:00+02:00"
    assert found.readings == ("oil_kpa", "coolant_c")


@pytest.mark.parametrize(
    ("segment", "told"),
    [
        ("ramp: {to: ¶50, over: 60 s}", "'50' has no unit, expected a load such as 250 kW or 75 %"),
        ("ramp: {to: 50 %, over: ¶1:30}", "'1:30' can be read in two ways: say 1 min 30 s or 1 h 30 min"),
        ("ramp: {to: ¶-5 kW, over: 60 s}", "negative"),
        ("ramp: {to: ¶250 %, over: 60 s}", "more than 200 %"),
        ("ramp: ¶{to: 50 %}", "key 'over' is missing here (needed: to, over)"),
        ("ramp: {to: 50 %, ¶ovr: 60 s, over: 1 s}", "unknown key 'ovr', did you mean 'over'?"),
        ("¶rmap: {to: 50 %, over: 60 s}", "unknown key 'rmap', did you mean 'ramp'?"),
        ("¶{ramp: {to: 50 %, over: 1 s}, hold: {for: 1 s}}", "found hold and ramp, expected one segment"),
        ("¶{}", "found nothing, expected one segment"),
        ("¶hold", "found 'hold', expected a mapping"),
        ("hold: {for: 30 min, starts: ¶inband}", "expected one of: at once, in band"),
        ("hold: {for: 1 s, continuous: ¶yes}", "found 'yes', expected true or false"),
        ("hold: {for: 1 s, band: ¶2}", "'2' has no unit, expected a share such as 75 %"),
        ("staircase: {from: 25 %, to: 100 %, steps: ¶0, hold: 1 s}", "found '0', expected at least 1"),
        ("staircase: {from: 25 %, to: 100 %, steps: ¶2.5, hold: 1 s}", "found '2.5', expected a whole number"),
        ("wait: {prompt: ready?, timeout: ¶0 s}", "expected time for the operator to answer"),
        ('wait: {prompt: ¶" ", timeout: 1 s}', "is empty"),
        ("repeat: {times: ¶1001, segments: [hold: {for: 1 s}]}", "found '1001', expected at most 1000"),
        ("repeat: {times: 2, segments: ¶[]}", "expected at least 1 of them"),
        ("repeat: {times: 2, segments: [¶{drop: {}, hold: {for: 1 s}}]}", "found drop and hold, expected one segment"),
        ("expect_loss: {within: 1 min, then: re-apply, step: ¶0 %}", "found 0 %"),
        ("expect_loss: {within: ¶0 s, then: stay closed}", "within which"),
    ],
)
def test_a_wrong_segment_is_told_with_its_place(segment, told):
    text, place = marked(HEAD + f"  - {segment}\n")
    (found,) = flaws("program", text)
    assert found.startswith(place), found
    assert told in found


@pytest.mark.parametrize(
    ("head", "told"),
    [
        ("start_at: ¶2027-04-12T06:00:00\n", "no time with its offset"),
        ("reading_interval: ¶0 s\n", "at least 1 s"),
        ("readings: [oil_kpa, ¶oil_bar]\n", "found 'oil_bar', expected one of oil_kpa, oil_c, coolant_c"),
        ("readings: [oil_kpa, coolant_c, ¶oil_kpa]\n", "'oil_kpa' stands in the list twice, expected once"),
        ("readings: ¶oil_kpa\n", "expected a list"),
        ("rounding: ¶up\n", "expected one of: nearest, at least, at most"),
        ("¶cooldown: 1 s\n", "unknown key 'cooldown'"),
        ("trim: ¶1\n", "found '1', expected true or false"),
    ],
)
def test_a_wrong_head_is_told_with_its_place(head, told):
    text, place = marked(head + HEAD + "  - hold: {for: 1 s}\n")
    (found,) = flaws("program", text)
    assert found.startswith(place), found
    assert told in found


def test_every_flaw_of_a_program_is_told_at_once():
    assert [
        f.split(": ")[0] for f in flaws("program", HEAD + "  - ramp: {to: 50, over: 1:30}\n  - hold: {fro: 1 s}\n")
    ] == ["x.yaml:3:16", "x.yaml:3:26", "x.yaml:4:11", "x.yaml:4:12"]


def test_repeats_of_repeats_have_a_bound():
    inner = "hold: {for: 1 s}"
    for _ in range(3):
        inner = f"repeat: {{times: 100, segments: [{inner}]}}"
    (found,) = flaws("program", HEAD + f"  - {inner}\n")
    assert found.startswith("x.yaml:2:1: 1000000 segments when repeats are written out")


def test_the_ladder_is_under_twenty_minutes_with_its_check_load():
    ladder, _ = read_program("ladder")
    seconds = sum(s.over_s for s in ladder.segments if isinstance(s, Ramp))
    seconds += sum(s.hold_s for s in ladder.segments if isinstance(s, Hold))
    assert seconds + (ladder.source_cooldown_s or 0) <= 18 * 60
    assert [s.to.value for s in ladder.segments if isinstance(s, Ramp)] == [25, 50, 75, 100, 50, 0]
    assert isinstance(ladder.segments[3], Hold)  # the fan-failure scenario counts on it


def test_the_long_haul_holds_four_unbroken_hours():
    haul, _ = read_program("long-haul")
    assert haul.rounding is Rounding.AT_LEAST
    assert [s.hold_s for s in haul.segments if isinstance(s, Hold) and s.continuous] == [4 * 3600]
