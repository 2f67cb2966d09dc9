"""Unintended steps and blocks above the largest: what the source really saw, scan by scan."""

from benchctl.core.program import Block, Hold, LoadIs, Program, Ramp, Target
from benchctl.core.scenario import Answer, Fault
from tests.safety.world import DOWN, HOLD, YES, Watched, live, short

NAMEPLATE_KW = 400.0
STAGE_KW = 4.0
BLOCK_KW = 0.5 * NAMEPLATE_KW  # the site's largest block up
FLICKER = 1.02  # volts move by a share of a percent while a set takes a step; kW go with their square


def rises(seen: Watched) -> list[float]:
    """By how much the load of all units rose from scan to scan, in kW."""
    return [after.load_kw - before.load_kw for before, after in zip(seen.sights, seen.sights[1:], strict=False)]


def test_what_the_source_sees_never_rises_by_more_than_a_block_nor_above_the_target():
    seen = live(program=short(350.0), until_s=110.0)
    assert max(rises(seen)) <= BLOCK_KW * FLICKER
    targets = [s.frame.decision.state.target_kw for s in seen.sights]
    for i, s in enumerate(seen.sights):  # an order is in force one scan later, an exchange of stages takes two
        assert s.load_kw <= (max(targets[max(0, i - 2) : i + 1]) + STAGE_KW) * FLICKER


def test_a_ramp_down_after_a_loss_raises_nothing():
    seen = live(Fault(10.0, "fan fails", "bank 1", during=HOLD), until_s=110.0)
    down = [s for s in seen.sights if s.segment == DOWN]
    before_kw = next(s for s in reversed(seen.sights) if s.segment == HOLD).load_kw
    assert 150.0 < before_kw < 250.0  # a share is gone
    assert max(s.load_kw for s in down) <= before_kw * FLICKER


def test_a_block_above_the_largest_reaches_the_source_in_allowed_pieces():
    program = Program(
        "b", "b", (Block(Target(340.0)), Hold(20.0), Ramp(Target(0.0), 5.0)), LoadIs.CHAIN, check_load=False
    )
    seen = live(Fault(0.0, "site load", "source", 0.0), program=program, until_s=60.0)
    assert max(s.load_kw for s in seen.sights) > 330.0
    assert max(rises(seen)) <= (BLOCK_KW + STAGE_KW) * FLICKER


def test_a_resume_after_load_went_off_is_bounded_by_the_largest_block():
    gone = Fault(10.0, "restarts", "bank 1", during=HOLD)
    seen = live(gone, answers=(YES, Answer("join", unit="bank 1", at_s=25.0, during=HOLD)), until_s=85.0)
    assert max(rises(seen)) <= BLOCK_KW * FLICKER
