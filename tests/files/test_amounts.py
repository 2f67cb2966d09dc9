"""Durations, powers and shares. Expected values are arithmetic; what is refused is our own rule."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchctl.files import amounts


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("90 s", 90.0),
        ("90s", 90.0),
        ("15 min", 900.0),
        ("1 h 30 min", 5400.0),
        ("1 h 30 min 5.5 s", 5405.5),
        ("0 s", 0.0),
        ("500 ms", 0.5),
        ("1.5 h", 5400.0),
        ("4 h", 14400.0),
        ("0.1 s", 0.1),
        ("744 h", 2_678_400.0),
    ],
)
def test_durations_are_read(text, seconds):
    assert amounts.duration_s(text) == seconds


@pytest.mark.parametrize(
    ("value", "told"),
    [
        ("1:30", "say 1 min 30 s or 1 h 30 min"),
        ("1:30:00", "two ways"),
        ("90", "has no unit"),
        (90, "has no unit"),
        (1.5, "has no unit"),
        ("-5 s", "negative"),
        ("−5 s", "negative"),
        ("5 m", "say 'min'"),
        ("5 minutes", "no unit of duration"),
        ("5 Min", "did you mean 'min'?"),
        ("30 min 1 h", "larger one first"),
        ("1 h 1 h", "each unit once"),
        ("1.5 h 10 min", "only the last part"),
        ("1,5 h", "decimal point"),
        ("", "no duration"),
        ("soon", "no duration"),
        (".inf", "no duration"),
        (float("nan"), "no duration"),
        (float("inf"), "no duration"),
        ("1e3 s", "no duration"),
        ("745 h", "longer than 31 days"),
        ("999999999999 h", "more than any"),
        (True, "expected a duration"),
        (None, "nothing is written"),
        ([], "expected a duration"),
        ("5 s s", "no duration"),
        ("5 xx 3 yy", "no unit of duration"),
    ],
)
def test_what_is_no_duration_is_refused_with_a_reason(value, told):
    with pytest.raises(ValueError, match=r"(?s)^.+$") as fault:
        amounts.duration_s(value)
    assert told in str(fault.value)


@pytest.mark.parametrize(
    ("text", "kw"), [("250 kW", 250.0), ("0.3 MW", 300.0), ("0.57 MW", 570.0), ("500 W", 0.5), ("0kW", 0.0)]
)
def test_powers_are_read_exactly(text, kw):
    assert amounts.power_kw(text) == kw


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("250", "has no unit"),
        ("250 kw", "did you mean 'kW'?"),
        ("250 kVA", "no unit of power"),
        ("-1 kW", "negative"),
        ("nan kW", "no power"),
        ("20000 MW", "more than any power"),
        ("50 %", "no unit of power"),
    ],
)
def test_what_is_no_power_is_refused_with_a_reason(text, told):
    with pytest.raises(ValueError, match=r"(?s)^.+$") as fault:
        amounts.power_kw(text)
    assert told in str(fault.value)


def test_a_load_is_kw_or_a_share_of_the_nameplate():
    assert amounts.load("75 %") == (75.0, True)
    assert amounts.load("0.3 MW") == (300.0, False)
    with pytest.raises(ValueError, match="200 %"):
        amounts.load("201 %")


@given(st.integers(0, 743), st.integers(0, 59), st.integers(0, 59), st.integers(0, 999))
def test_a_duration_written_in_parts_is_the_sum_of_its_parts(h, minutes, s, ms):
    assert amounts.duration_s(f"{h} h {minutes} min {s} s {ms} ms") == float(
        Decimal(3600 * h + 60 * minutes + s) + Decimal(ms) / 1000
    )


@given(st.integers(0, 10**6), st.sampled_from(["s", "ms"]), st.sampled_from(["", " "]))
def test_the_space_before_a_unit_does_not_matter(number, unit, space):
    assert amounts.duration_s(f"{number}{space}{unit}") == number / {"s": 1, "ms": 1000}[unit]


@given(st.decimals(0, 1000, places=4))
def test_megawatts_and_kilowatts_agree(number):
    assert amounts.power_kw(f"{number} MW") == amounts.power_kw(f"{number * 1000:.4f} kW")


@given(
    st.one_of(st.text(), st.integers(), st.floats(), st.booleans(), st.none()),
    st.sampled_from([amounts.duration_s, amounts.power_kw, amounts.apparent_kva, amounts.percent, amounts.load]),
)
def test_anything_else_raises_only_a_sentence(value, parser):
    told, result = "", 0.0
    try:
        result = parser(value)
    except ValueError as fault:
        told = str(fault) or "\n"
    number = result[0] if isinstance(result, tuple) else result
    assert "\n" not in told
    assert 0 <= number < float("inf")


@pytest.mark.parametrize("text", ["100 kvar", "0.2 Mvar", "250 kVA"])
def test_reactive_load_is_refused_with_a_sentence(text):
    with pytest.raises(ValueError, match="resistors, they cannot give reactive load"):
        amounts.load(text)
