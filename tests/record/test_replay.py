"""A recorded run decides again to the same orders; a change of decide is found at its scan."""

import dataclasses
import sqlite3

import pytest

from benchctl.core.decision import Settings
from benchctl.core.state import State
from benchctl.record import replay as replay_module
from benchctl.record.fault import RecordFault
from benchctl.record.reader import Reader
from benchctl.record.replay import replay
from tests.record.bench import decide, frames, recorded


def replayed(path):
    with Reader(path) as reader:
        return replay(reader)


@pytest.fixture
def deciding(monkeypatch):
    """Puts a stand-in for decide in place."""
    monkeypatch.setattr(replay_module, "decide", decide)
    return lambda other: monkeypatch.setattr(replay_module, "decide", other)


def test_a_run_replays_to_equal_orders_and_states(tmp_path, deciding):
    found = replayed(recorded(tmp_path / "a.run", frames(200)))
    assert found.equal
    assert (found.compared, found.gaps, found.difference) == (200, 0, None)


def test_other_orders_are_found_at_their_scan_and_told_side_by_side(tmp_path, deciding):
    made = frames(60)

    def other(state, inputs, settings):
        decision = decide(state, inputs, settings)
        if inputs.now_s != made[33].inputs.now_s:
            return decision
        units = (decision.orders.units[0], dataclasses.replace(decision.orders.units[1], fan=False))
        return dataclasses.replace(decision, orders=dataclasses.replace(decision.orders, units=units))

    path = recorded(tmp_path / "a.run", made)
    deciding(other)
    found = replayed(path)
    assert not found.equal
    assert found.compared == 34
    assert found.difference.scan == 33
    assert found.difference.now_s == made[33].inputs.now_s
    assert found.difference.lines == ("orders.units[1].fan: recorded True, now False",)


def test_a_state_that_drifts_by_one_bit_is_found_at_its_scan_and_told_from_the_next_full_state(tmp_path, deciding):
    made = frames(150)

    def other(state: State, inputs, settings: Settings):
        decision = decide(state, inputs, settings)
        if inputs.now_s == made[70].inputs.now_s:
            decision.state.program_s += 2**-40
        return decision

    path = recorded(tmp_path / "a.run", made)
    deciding(other)
    difference = replayed(path).difference
    assert difference.scan == 70
    (line,) = difference.lines
    assert line == f"state after scan 120: program_s: recorded 60.0, now {60.0 + 2**-40!r}"


def test_events_that_come_out_differently_are_told(tmp_path, deciding):
    def other(state, inputs, settings):
        decision = decide(state, inputs, settings)
        decision.state.target_kw += bool(inputs.commands)
        return dataclasses.replace(decision, events=())

    path = recorded(tmp_path / "a.run", frames(20))
    deciding(other)
    difference = replayed(path).difference
    assert difference.scan == 0
    assert difference.lines[0] == "event recorded, not now: =set load"
    assert "state after scan 0: target_kw: recorded 0.0, now 1.0" in difference.lines


def test_a_replay_goes_on_after_a_gap_from_the_state_kept_there(tmp_path, deciding):
    made = frames(100)
    found = replayed(recorded(tmp_path / "a.run", made[:40] + made[47:]))
    assert found.equal
    assert (found.compared, found.gaps) == (92, 1)


def test_a_decide_that_fails_now_is_a_difference_not_a_traceback(tmp_path, deciding):
    path = recorded(tmp_path / "a.run", frames(10))

    def broken(state, inputs, settings):
        raise ZeroDivisionError("division by zero")

    deciding(broken)
    difference = replayed(path).difference
    assert difference.scan == 0
    assert difference.lines == ("recorded a decision, now decide fails: ZeroDivisionError: division by zero",)


def test_a_decide_that_failed_then_and_now_is_equal(tmp_path, deciding):
    made = frames(6)
    made[5] = dataclasses.replace(made[5], fault="ZeroDivisionError: division by zero")
    path = recorded(tmp_path / "a.run", made)

    def broken(state, inputs, settings):
        if inputs.now_s == made[5].inputs.now_s:
            raise ZeroDivisionError("division by zero")
        return decide(state, inputs, settings)

    deciding(broken)
    found = replayed(path)
    assert found.equal
    assert found.note == "decide failed in scan 5"
    deciding(decide)
    assert replayed(path).difference.lines[0].startswith("recorded that decide failed")


def test_an_empty_record_is_not_called_equal(tmp_path, deciding):
    found = replayed(recorded(tmp_path / "a.run", []))
    assert not found.equal
    assert found.note == "the record has no scans"


def test_damaged_inputs_are_told_with_their_scan(tmp_path, deciding):
    path = recorded(tmp_path / "a.run", frames(10))
    db = sqlite3.connect(path)
    db.execute("DROP TRIGGER scan_update")
    db.execute("UPDATE scan SET raw = x'00' WHERE n = 4")
    db.commit()
    db.close()
    with pytest.raises(RecordFault, match=r"a\.run: scan 4: inputs are damaged"):
        replayed(path)


def test_todays_decide_replays_its_own_run(tmp_path):
    # With the real decide, on figures that make it raise alarms.
    from benchctl.core.decide import decide as real
    from benchctl.core.decision import first_state
    from tests.record.bench import SETTINGS

    state, made = first_state(SETTINGS), []
    for frame in frames(150):
        decision = real(state, frame.inputs, SETTINGS)
        made.append(dataclasses.replace(frame, decision=decision))
        state = decision.state
    found = replayed(recorded(tmp_path / "a.run", made))
    assert found.difference is None
    assert found.compared == 150
