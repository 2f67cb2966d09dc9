"""Every row of the table of checks: a plan where it speaks, and one just on the good side where it is silent."""

from dataclasses import replace

import pytest

from benchctl.core.profile import Fan, FanSupply, SetPoint, Watchdog
from benchctl.core.program import Block, Drop, Hold, LoadIs, Ramp, Rounding, Silence, Starts, Wait
from benchctl.core.site import Attendance, Endpoint, Wiring
from benchctl.planning import plan
from benchctl.planning.checks import CHECKS
from benchctl.planning.plan import Severity
from tests.planning.places import kw, meter, percent, profile, program, registers, set_of, site, unit

FINE = (5.0, 5.0, 10.0, 20.0, 20.0, 40.0)
GOOD = (Ramp(kw(200.0), 60.0), Hold(1200.0))
FED = Fan(2.0, FanSupply.SOURCE, flow_m3_s=3.0)


def asks(load_kw, hold_s=1200.0, **changes):
    """Up to a load by a slow ramp, and a hold."""
    return program(Ramp(kw(load_kw), 60.0), Hold(hold_s), **changes)


def units(*, count=5, **changes):
    """Units of 100 kW with something changed."""
    return (profile(*FINE, **changes),) * count


def in_band(*, ramp_kw=200.0, **changes):
    """A hold that starts in band."""
    return program(Ramp(kw(ramp_kw), 60.0), Hold(1200.0, starts=Starts.IN_BAND), **changes)


def behind_gateway(place, *, scan_period_s=None):
    """All units of a place behind one gateway."""
    shared = Endpoint("127.0.0.1", 15999, gateway=True)
    return replace(place, units=tuple(replace(u, endpoint=shared) for u in place.units), scan_period_s=scan_period_s)


SLOW = units(registers=registers(2, turnaround_s=0.05, gap_s=0.01))  # 5 units x 3 reads x 0.06 s = 0.9 s
GOOD_TOTAL = program(*GOOD, load_is=LoadIs.SOURCE_TOTAL)
UP_50 = {"largest_block_up_percent": 50.0, "largest_block_down_percent": 50.0}
BARE = units(watchdog=None)
LONE = [profile(*[10.0] * 10, across=p) for p in "ab"]
EVEN = [profile(*[10.0] * 10, across=p) for p in "abc"]
NO_METER = {"instruments": ()}
UNREAD = units(reports=frozenset())
PRIME = {"rating_class": "PRP", "upper_percent": 110.0}
WAITS = {silence: program(Ramp(kw(200.0), 60.0), Wait("Ready?", 60.0, silence), Hold(1200.0)) for silence in Silence}

# key: (plan that fires: site and program, plan that is silent)
CASES = {
    "no units": ((replace(site(), units=()), asks(0.0)), (site(), asks(200.0))),
    "volts too high": ((site(*units(rated_v=230.0)), asks(200.0)), (site(*units(rated_v=364.0)), asks(200.0))),
    "hertz of fans": ((site(*units(fan=FED, hertz=(60.0,))), asks(100.0)), (site(*units(fan=FED)), asks(100.0))),
    "phases": (
        (site(wiring=Wiring.SINGLE_PHASE_3W), asks(100.0)),
        (site(*units(across="a"), *units(across="b"), *units(across="c")), asks(100.0)),
    ),
    "capacity": ((site(*units(count=3)), asks(300.1)), (site(*units(count=3)), asks(300.0))),
    "upper limit": ((site(), asks(420.5)), (site(), asks(420.0))),
    "minimum": (
        (set_of(400.0, 500.0, 1, 50.0), asks(405.0, rounding=Rounding.AT_LEAST)),
        (set_of(400.0, 500.0, 1, 50.0), asks(395.0, rounding=Rounding.AT_LEAST)),
    ),
    "prime overload": ((site(**PRIME), asks(440.0, 3601.0)), (site(**PRIME), asks(440.0, 3500.0))),
    "over-current": (
        (site(*LONE, apparent_kva=90.0, power_kw=72.0), asks(70.0)),
        (site(*EVEN, apparent_kva=90.0, power_kw=72.0), asks(70.0)),
    ),
    "rejection": (
        (site(), program(*GOOD, Block(kw(50.0)))),
        (site(), program(*GOOD, Block(kw(50.0), declared_rejection=True))),
    ),
    "band not measured": ((site(*UNREAD, **NO_METER), in_band()), (site(*UNREAD), in_band())),
    "scan period": (
        (behind_gateway(site(*SLOW), scan_period_s=0.85), asks(200.0)),
        (behind_gateway(site(*SLOW), scan_period_s=0.9), asks(200.0)),
    ),
    "watchdog fed": (
        (site(*units(watchdog=Watchdog(5.0, "register", feed_every_s=3.0))), asks(200.0)),
        (site(*units(watchdog=Watchdog(6.0, "register", feed_every_s=3.0))), asks(200.0)),
    ),
    "unattended": ((site(*BARE, attendance=Attendance(unattended=True)), asks(200.0)), (site(*BARE), asks(200.0))),
    "volts low": ((site(*units(count=40, rated_v=690.0)), asks(200.0)), (site(*units(rated_v=480.0)), asks(200.0))),
    "hertz": ((site(*units(hertz=(60.0,))), asks(200.0)), (site(*units(hertz=())), asks(200.0))),
    "link load": (
        (behind_gateway(site(*SLOW), scan_period_s=1.0), asks(200.0)),
        (behind_gateway(site(*SLOW), scan_period_s=1.2), asks(200.0)),
    ),
    "scan slow": ((site(scan_period_s=4.0), asks(200.0)), (site(scan_period_s=2.0), asks(200.0))),
    "attended only": ((site(*BARE), asks(200.0)), (site(attendance=Attendance(unattended=True)), asks(200.0))),
    "load comes back": (
        (site(*units(watchdog=Watchdog(15.0, "any request", on_return="resumes"))), asks(200.0)),
        (site(), asks(200.0)),
    ),
    "calibration": ((site(instruments=(meter(calibration_due=""),)), asks(200.0)), (site(), asks(200.0))),
    "fans on source": (
        (site(*units(fan=FED)), asks(200.0, source_cooldown_s=299.0)),
        (site(*units(fan=FED)), asks(200.0, source_cooldown_s=300.0)),
    ),
    "air": (
        (site(*units(fan=Fan(1.0, FanSupply.SEPARATE))), asks(200.0)),
        (site(*units(fan=Fan(1.0, FanSupply.SEPARATE), expected_rise_k=80.0)), asks(200.0)),
    ),
    "site load on top": (
        (site(site_load_reserve_kw=45.0), asks(380.0)),
        (site(site_load_reserve_kw=45.0), asks(375.0)),
    ),
    "site load": (
        (site(site_load_reserve_kw=45.0), asks(40.0, load_is=LoadIs.SOURCE_TOTAL)),
        (site(site_load_reserve_kw=45.0), asks(45.0, load_is=LoadIs.SOURCE_TOTAL)),
    ),
    "no overload": ((site(), asks(405.0)), (site(rating_class="PRP"), asks(405.0))),
    "average": ((site(rating_class="ESP"), asks(300.0)), (site(rating_class="ESP"), asks(280.0))),
    "current": (
        (site(*LONE, apparent_kva=115.0, power_kw=80.0), asks(70.0)),
        (site(*EVEN, apparent_kva=100.0, power_kw=80.0), asks(70.0)),
    ),
    "unbalance": ((site(*LONE, power_kw=200.0), asks(60.0)), (site(*EVEN, power_kw=200.0), asks(60.0))),
    "sag": ((site(*units(count=4)), asks(390.0)), (site(*units(count=4)), asks(380.0))),
    "margin": (
        (site(), asks(200.0, rounding=Rounding.AT_LEAST)),
        (site(), asks(200.0, rounding=Rounding.AT_LEAST, trim=True)),
    ),
    "unit lost": ((site(*units(count=4)), asks(320.0)), (site(*units(count=4)), asks(300.0))),
    # Transformers of 2000 A at 400 V are 1386 kW: 8 % = 111 kW, more than a unit gives; of 800 A: 44 kW.
    "check load": (
        (site(instruments=(meter(ct_primary_a=2000.0),)), replace(asks(200.0), check_load=True)),
        (site(), replace(asks(200.0), check_load=True)),
    ),
    "nothing asked": ((site(), asks(0.0)), (site(), asks(5.0))),
    "no time": ((site(), program(Ramp(kw(50.0), 0.0))), (site(), program(Ramp(kw(50.0), 0.1)))),
    "largest block": (
        (site(), program(Block(kw(100.5)), Hold(1200.0))),
        (site(), program(Block(kw(100.0)), Hold(1200.0))),
    ),
    "step down": ((site(), program(*GOOD, Hold(1200.0, kw(50.0)))), (site(), program(*GOOD, Hold(1200.0, kw(100.0))))),
    "declared rejection": ((site(), program(*GOOD, Drop())), (site(**UP_50), program(*GOOD, Drop()))),
    "steep ramp": (
        (site(), program(Ramp(kw(200.0), 19.0), Hold(1200.0))),
        (site(), program(Ramp(kw(200.0), 20.0), Hold(1200.0))),
    ),
    "hold unsettled": ((site(), asks(200.0, 9.0)), (site(), asks(200.0, 10.0))),
    "hold unread": ((site(), asks(200.0, 899.0)), (site(), asks(200.0, 900.0))),
    "band": ((site(profile(*[50.0] * 9), profile(1.0)), in_band(ramp_kw=225.0)), (site(), in_band())),
    "trim not measured": ((site(*UNREAD, **NO_METER), asks(200.0, trim=True)), (site(*UNREAD), asks(200.0, trim=True))),
    "total not measured": ((site(**NO_METER), GOOD_TOTAL), (site(), GOOD_TOTAL)),
    "silent prompt": ((site(), WAITS[Silence.GO_ON]), (site(), WAITS[Silence.UNLOAD])),
}


def keys(place, asked):
    """Keys of all findings."""
    return {f.key for f in plan(place, asked).findings}


def test_every_row_of_the_table_has_a_case():
    assert set(CASES) == {check.key for check in CHECKS}
    assert len(CHECKS) == len({check.key for check in CHECKS})


@pytest.mark.parametrize("key", CASES)
def test_a_check_speaks_where_it_should(key):
    place, asked = CASES[key][0]
    check = next(c for c in CHECKS if c.key == key)
    found = [f for f in plan(place, asked).findings if f.key == key]
    assert found
    assert all(f.severity is check.severity and f.text for f in found)


@pytest.mark.parametrize("key", CASES)
def test_a_check_is_silent_where_all_is_well(key):
    assert key not in keys(*CASES[key][1])


@pytest.mark.parametrize("key", [c.key for c in CHECKS if c.severity is Severity.REFUSAL])
def test_a_refusal_makes_the_plan_not_feasible(key):
    assert not plan(*CASES[key][0]).feasible


def test_a_good_plan_has_no_findings_at_all():
    assert plan(site(), program(*GOOD)).findings == ()


@pytest.mark.parametrize(
    ("rated_v", "named"),
    [
        (230.0, "square root of 3"),
        (200.0, "series and parallel"),
        (690.0, "square root of 3"),
        (800.0, "series and parallel"),
    ],
)
def test_a_wrong_connection_is_named_by_its_ratio(rated_v, named):
    # Wye and delta differ by sqrt(3), series and parallel halves by 2 (any textbook of alternating current).
    drawn = plan(site(*units(count=30, rated_v=rated_v)), asks(100.0))
    assert any(named in f.text for f in drawn.findings if f.key in ("volts too high", "volts low"))


def test_a_single_phase_unit_of_230_v_suits_a_400_v_source_with_neutral():
    singles = [profile(*FINE, across=p, rated_v=230.0, phases=1, connection="single") for p in "abc"]
    drawn = plan(site(*singles), asks(200.0))
    assert drawn.feasible
    # (400 / sqrt(3) / 230)² = 1.0082
    assert drawn.available_kw == pytest.approx(300.0 * 1.0082, abs=0.01)


def test_a_stage_to_neutral_is_refused_without_a_neutral():
    drawn = plan(site(*units(across="a"), wiring=Wiring.THREE_PHASE_3W), asks(100.0))
    assert any("neutral" in f.text for f in drawn.findings if f.key == "phases")


def test_the_upper_limit_counts_site_load_where_no_meter_tells_it():
    blind = site(*units(), **NO_METER, site_load_reserve_kw=45.0)
    assert "upper limit" in keys(blind, asks(380.0))
    assert "upper limit" not in keys(blind, asks(375.0))
    assert "upper limit" not in keys(site(site_load_reserve_kw=45.0), asks(380.0))


def test_a_prime_set_is_told_what_would_allow_its_overload():
    drawn = plan(site(rating_class="PRP"), asks(440.0))
    assert any("upper_percent: 110" in f.text for f in drawn.findings if f.key == "upper limit")


def test_a_block_above_the_largest_says_how_a_run_cuts_it():
    # 150 kW with blocks of 100 kW, one block more in each 10 s: the rest is on after 5 s.
    drawn = plan(site(), program(Block(kw(150.0)), Hold(1200.0)))
    text = next(f.text for f in drawn.findings if f.key == "largest block")
    assert "150.0 kW at once" in text
    assert "100 kW on first" in text
    assert "within 5 s" in text


def test_a_set_point_unit_that_corrects_for_volts_needs_no_margin():
    kind = profile(setpoint=SetPoint(200.0, 5.0, actual=True))
    asked = asks(200.0, rounding=Rounding.AT_LEAST)
    assert "margin" not in keys(site(kind, kind), asked)
    assert "margin" in keys(site(*units(), unit(9, kind).profile), asked)


def test_findings_point_at_the_row_and_the_line_of_the_program():
    drawn = plan(site(*units(count=3)), program(Ramp(kw(100.0), 60.0, line=7), Ramp(percent(100.0), 60.0, line=9)))
    finding = next(f for f in drawn.findings if f.key == "capacity")
    assert (finding.number, finding.line) == (2, 9)


def test_refusals_come_first():
    severities = [f.severity for f in plan(site(*units(count=3, watchdog=None)), asks(400.0)).findings]
    assert severities == sorted(severities, key=lambda s: s is not Severity.REFUSAL)
    assert set(severities) == set(Severity)


def test_a_repeated_fault_is_told_once():
    from benchctl.core.program import Repeat

    asked = program(Repeat(20, (Block(kw(150.0)), Hold(1200.0), Ramp(kw(0.0), 60.0))))
    assert len([f for f in plan(site(), asked).findings if f.key == "largest block"]) == 1
