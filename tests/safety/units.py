"""Hazards of contactors, units, the network between, and the computer that orders them."""

from tests.safety.hazard import Hazard, Said

UNITS: tuple[Hazard, ...] = (
    Hazard(
        "will not open",
        "Contactor that will not open",
        arises="It is welded, its coil is held by another circuit, or the unit refuses or ignores what we write.",
        noticed="By its feedback and by kW: an opening that is not read back in its time.",
        bench="Repeats the opening in every scan, takes the rest of the unit off, keeps its fan ordered on, counts the "
        "stage as closed for every limit, and names the breaker. A drop that is not read back says NOT CONFIRMED.",
        unit="Have a breaker of its own upstream, within reach.",
        causes=("contactor stuck closed",),
        said=(Said("NOT CONFIRMED: use the unit's emergency stop", "benchctl/cli/off.py"),),
        shown=(
            "tests/safety/test_units.py::test_a_contactor_that_does_not_open_names_its_breaker_and_keeps_its_fan",
            "tests/safety/test_units.py::test_a_unit_that_refuses_to_open_is_never_told_to_be_off",
            "tests/rehearsal/test_stuck.py::test_a_rehearsal_with_a_welded_contactor_ends_and_names_it",
            "tests/core/test_follow_again.py::test_a_second_contactor_that_does_not_open_is_told_like_the_first",
            "tests/system/test_live.py::test_a_drop_that_is_not_read_back_says_so_and_names_the_emergency_stop",
        ),
        leaves="No order opens a welded contactor: somebody must open the breaker.",
    ),
    Hazard(
        "will not close",
        "Contactor that will not close, fuse blown, element burnt",
        arises="A coil, a fuse, an element or a feedback contact fails; a unit acknowledges and does nothing.",
        noticed="By the feedback within the unit's time to follow; by kW of each phase in the stage check and in each "
        "scan.",
        bench="Takes the order back, leaves the stage out, holds the program and asks. What is commanded, read back "
        "and measured are three values, never one.",
        unit="Report what its contactor does, not what it was told.",
        causes=("did not follow", "draws less", "kW do not match"),
        shown=(
            "tests/safety/test_units.py::test_a_stage_that_does_not_close_is_never_counted_as_load",
            "tests/core/test_perceive.py::test_an_order_that_is_echoed_but_not_in_force_is_told_within_three_scans_and_holds_the_program",
            "tests/core/test_checks.py::test_the_stage_check_finds_the_phase_that_draws_nothing_and_dispatch_reckons_with_it",
            "tests/system/test_not_in_force.py::test_A7_an_order_that_is_not_in_force_holds_the_program_and_is_never_shown_as_load",
        ),
        leaves="A feedback that lies the same way as its contactor fails shows only in kW.",
    ),
    Hazard(
        "unit lost",
        "Unit lost with load on",
        arises="A cable is pulled, a radio fades, its controller hangs, its supply goes.",
        noticed="No answer for 5 s. From the first silent scan its load counts as closed for limits and not for the "
        "target.",
        bench="Keeps the rest as it is (or unloads, or hands the share over, as the site file says), orders it open "
        "whenever it can be had, never calls its load off. When it answers again it is read, identified, emptied and "
        "read back; it joins by command only.",
        unit="Drop its load by its own watchdog and keep its fans.",
        causes=("unit lost", "no unit left", "short of target"),
        said=(
            Said(
                "these banks keep the load if this computer stops: attended operation only",
                "benchctl/planning/stops.py",
            ),
            Said("open their breakers if they still have load on", "benchctl/core/advance.py"),
        ),
        shown=(
            "tests/safety/test_units.py::test_a_lost_unit_whose_watchdog_is_dead_is_never_told_to_be_off",
            "tests/safety/test_units.py::test_a_lost_unit_whose_watchdog_works_drops_its_load_by_itself",
            "tests/core/test_after_a_loss.py::test_nobody_says_that_all_is_off_or_cool_while_a_lost_unit_may_have_load_on",
            "tests/core/test_perceive.py::test_a_silent_unit_counts_as_closed_for_limits_and_not_for_the_target",
            "tests/core/test_perceive.py::test_a_unit_that_comes_back_is_emptied_and_read_back_before_it_is_fed_and_joins_only_by_command",
            "tests/field/test_chain.py::test_a_silent_unit_on_its_own_socket_delays_nobody",
            "tests/rehearsal/test_rehearsal.py::test_a_lost_unit_is_told_and_joins_only_by_command",
            "tests/system/test_pulled_away.py::test_A7_a_chain_that_stays_away_ends_the_run_as_lost_with_exit_code_4",
        ),
        leaves="A unit without a watchdog, or with a dead one, keeps its load: its breaker and its emergency stop "
        "are the only way. Try the watchdog once before relying on it.",
    ),
    Hazard(
        "unit restarted",
        "Unit restarted, or its load fell by itself",
        arises="Its supply dips, its firmware restarts, it trips by its own fault.",
        noticed="By a running time that falls, by load that is gone without our order, by its fault bits.",
        bench="Holds the program; the load stays off until a person goes on; the unit joins again by command.",
        unit="Come up with all stages open.",
        causes=("unit restarted", "load fell"),
        shown=(
            "tests/safety/test_units.py::test_what_goes_off_by_itself_stays_off_until_a_person_has_answered",
            "tests/core/test_perceive.py::test_a_unit_that_restarts_loses_its_load_and_gets_none_back_without_a_person",
            "tests/system/test_pulled_away.py::test_A7_a_chain_that_died_and_was_started_again_is_joined_again_and_stays_off_until_it_is_asked",
        ),
        leaves="A restart that is shorter than a scan, in a unit that tells no running time, shows only by its load.",
    ),
    Hazard(
        "unit swapped",
        "Unit swapped or renumbered",
        arises="Cables or addresses are exchanged; another unit gets the address by its network.",
        noticed="By model, rated values and serial number at first contact and whenever a unit returns.",
        bench="A unit that is not what its profile says gets no load, is ordered open, and is joined only by a "
        "person who gives a reason.",
        unit="Tell a serial number that is its own.",
        causes=("unit swapped",),
        said=(Said("every unit is what its profile says", "benchctl/core/permissives.py"),),
        shown=(
            "tests/safety/test_units.py::test_a_unit_in_anothers_place_gets_no_load",
            "tests/field/test_contact.py::test_what_does_not_agree_is_told_and_nothing_is_written",
            "tests/core/test_found.py::test_a_unit_that_is_not_what_its_profile_says_is_not_adopted_but_unloaded",
            "tests/tui/test_sheets.py::test_a_bank_that_is_back_is_joined_with_a_reason_where_another_answers",
        ),
        leaves="Two units of one type without serial numbers cannot be told apart: see which fan starts.",
    ),
    Hazard(
        "two masters",
        "Two masters",
        arises="A second program, a maker's panel or a colleague's laptop writes to the same unit, or takes its only "
        "connection; somebody turns it to local.",
        noticed="By load that is read back and that we did not order; by connections that are cut again and again; "
        "by the unit's remote contact; a second program of ours by a lock for each address.",
        bench="Holds and asks, never writes against the other; goes on without a unit whose connection is taken, "
        "ever more seldom asked; writes nothing but a drop to a unit in local. A second run host is refused with who "
        "holds what.",
        unit="Have one place at a time that commands it, and tell which.",
        causes=("load changed by someone else", "unit in local"),
        shown=(
            "tests/safety/test_units.py::test_load_that_another_writes_is_held_and_never_written_against",
            "tests/system/test_other_master.py::test_H1_another_masters_load_is_named_and_held_and_never_written_against",
            "tests/system/test_other_master.py::test_H1_a_connection_that_another_master_takes_is_named_and_not_fought_for",
            "tests/system/test_live.py::test_two_owners_of_one_unit_are_one_too_many",
            "tests/core/test_guard_local.py::test_a_unit_under_its_own_panel_keeps_its_load_and_the_others_make_room_for_it",
            "tests/test_claim.py::test_of_several_that_want_the_same_at_once_exactly_one_gets_it",
        ),
        leaves="Modbus knows no owner: a master on another computer that writes what we would write is not noticed.",
    ),
    Hazard(
        "load found on",
        "Load on that nobody started",
        arises="A crash, another's test, a panel left on, before this session began.",
        noticed="At first contact, before anything is written.",
        bench="Asks: adopt, unload or drop. Writes nothing to that unit until somebody decides; unanswered it comes "
        "off in steps after the site's time. Adopted load can only be lowered until its air was seen off and on.",
        unit="Keep its fans on while it is loaded.",
        causes=("load found on",),
        shown=(
            "tests/system/test_adopt.py::test_H7_load_found_on_is_left_alone_until_it_is_adopted_lowered_and_unloaded",
            "tests/system/test_adopt.py::test_H7_load_found_on_that_nobody_answers_for_comes_off_by_itself",
            "tests/core/test_found.py::test_adopted_load_is_raised_with_units_whose_air_is_proven_and_in_no_others",
            "tests/core/test_found.py::test_a_drop_needs_no_charge_and_closes_the_question",
        ),
        leaves="Who started it, and why, only people know.",
    ),
    Hazard(
        "controller killed",
        "Controller killed, or broken",
        arises="kill -9, a flat battery, a crash, a fault of our own code.",
        noticed="By nobody here: by the units' watchdogs. A fault in deciding is noticed in its own scan.",
        bench="Where deciding fails: all open, fans on, no feed, told, ended. The next start closes the record as "
        "interrupted, finds what is on and what is hot, and owes the whole cool-down.",
        unit="Drop its load by its watchdog, keep its fans, stay off when contact returns.",
        said=(
            Said(
                "these banks keep the load if this computer stops: attended operation only",
                "benchctl/planning/stops.py",
            ),
        ),
        shown=(
            "tests/campaign/test_kills.py::test_killed_run_hosts_leave_records_that_open_and_a_next_start_that_tells_the_truth",
            "tests/system/test_live.py::test_H7_a_controller_that_is_killed_leaves_the_load_to_the_units_own_watchdogs",
            "tests/system/test_live.py::test_H7_the_run_of_a_killed_controller_is_closed_as_interrupted_by_the_next",
            "tests/engine/test_engine.py::test_when_deciding_fails_everything_is_ordered_open_told_and_the_loop_ends",
            "tests/engine/test_breakage.py::test_after_decide_has_failed_openings_are_repeated_until_they_are_acknowledged",
            "tests/core/test_guard_alone.py::test_a_drop_opens_everything_and_feeds_no_watchdog_where_load_may_be_on",
            "tests/controller/test_host.py::test_a_decide_that_raises_is_told_to_clients_and_ends_it_with_code_1",
        ),
        leaves="For the watchdog's time nobody watches the load, and without a watchdog for ever.",
    ),
    Hazard(
        "controller stalled",
        "Controller stalled or asleep",
        arises="A lid is closed, a virtual machine is paused, the computer swaps or is busy.",
        noticed="By a clock that runs on in sleep; a scan of more than twice its period is told.",
        bench="A hole in time is one event; the program holds, nothing catches up, no closing that was decided "
        "before goes out after, commands from before are too old, no cool-down and no hold is credited. Sleep is "
        "inhibited while load is on or hot, as far as the system allows.",
        unit="Drop its load by its watchdog when the hole is longer than its time.",
        causes=("time gap", "scan late"),
        shown=(
            "tests/engine/test_sleep.py::test_F1_a_closed_lid_is_one_gap_and_nothing_goes_on_by_itself",
            "tests/engine/test_sleep.py::test_a_sleep_between_deciding_and_writing_closes_nothing_before_a_read",
            "tests/engine/test_stall.py::test_a_process_that_was_stopped_tells_a_hole_in_its_first_scan_and_catches_nothing_up",
            "tests/system/test_live.py::test_F1_a_controller_that_stood_still_holds_and_asks",
            "tests/core/test_cooldown.py::test_a_hole_in_time_pays_nothing",
            "tests/controller/test_awake.py::test_it_is_wanted_before_load_is_on_until_all_is_cool_and_that_stands_in_the_record",
        ),
        leaves="A closed lid beats an inhibited sleep on many systems: keep it open and on mains.",
    ),
    Hazard(
        "clock stepped",
        "Clock stepped",
        arises="The network sets the time, summer time ends, somebody corrects the clock.",
        noticed="The wall clock is compared with one that nobody can step.",
        bench="Decides nothing by the wall clock; the step is an event in the record; durations stay what they were.",
        unit="Nothing.",
        shown=(
            "tests/engine/test_sleep.py::test_a_wall_clock_stepped_an_hour_forward_and_back_moves_nothing_in_a_hold",
            "tests/engine/test_engine.py::test_a_step_of_the_wall_clock_is_told_and_moves_nothing_else",
            "tests/system/test_time.py::test_B7_a_wall_clock_that_is_stepped_back_is_in_the_record_and_shortens_nothing",
            "tests/laws/test_any_state.py::test_when_a_scan_happens_does_not_matter",
        ),
        leaves="A wrong clock at the start stays wrong in the report's times.",
    ),
    Hazard(
        "bytes not meant",
        "Bytes on the wire that are not what they seem",
        arises="A late reply, another function, a map that is off by one, a gateway that mixes answers, patterns for "
        "“no value”.",
        noticed="Each reply is held against its request: transaction, unit, function, length, echo; values against the "
        "patterns and ranges of their profile.",
        bench="What does not fit is no answer; what cannot be is not known; missing is never zero. A write counts "
        "only by its own echo and is believed only by what is read back.",
        unit="Nothing.",
        shown=(
            "tests/hostile/test_wire.py::test_some_thousands_of_spoilt_replies_break_no_law_in_any_universe",
            "tests/hostile/test_wire.py::test_a_whole_bench_behind_a_bad_wire_breaks_no_law_and_still_gets_somewhere",
            "tests/field/test_link.py::test_every_bad_reply_to_a_read_is_refused",
            "tests/field/test_link.py::test_a_late_reply_is_never_taken_for_the_next_one",
            "tests/field/test_link.py::test_A7_a_write_is_acknowledged_only_by_its_own_echo",
            "tests/field/test_decode.py::test_A1_a_map_that_is_off_by_one_is_a_suspicion_and_never_zero",
            "tests/field/test_decode.py::test_A2_patterns_for_no_value_are_caught_before_scaling",
            "tests/rehearsal/test_random_days.py::test_no_scan_of_a_random_day_with_real_frames_breaks_a_law",
        ),
        leaves="Modbus TCP has no check of its own: a value that was altered into a possible one is taken as it is.",
    ),
)
