"""Hazards of volts, steps, meters and the source."""

from tests.safety.hazard import Hazard, Said

POWER: tuple[Hazard, ...] = (
    Hazard(
        "wrong connection",
        "Wrong connection: double the volts, or √3 times",
        arises="Wye and delta exchanged, a dual-voltage unit left on its lower tap, the wrong rating chosen in the "
        "site file, a regulator that runs away: 1.73 times the volts are three times the power.",
        noticed="Before load by the plan (ratio named), by the rated volts that a unit tells at first contact, and "
        "by the volts of the source's meter; under load by volts against each unit's rating in every scan.",
        bench="No stage closes above 110 % of a unit's rated volts (its profile may say less). Under load its stages "
        "open in the scan that shows it.",
        unit="Refuse to close above its own limit of volts, and be fused.",
        causes=("unit volts high", "volts off"),
        said=(
            Said("the square root of 3: wye and delta", "benchctl/planning/place_checks.py"),
            Said("the source's volts are within limits", "benchctl/core/permissives.py"),
        ),
        shown=(
            "tests/safety/test_source.py::test_at_a_wrong_multiple_of_the_volts_no_contactor_closes",
            "tests/safety/test_source.py::test_volts_that_run_away_under_load_open_every_stage_within_two_scans",
            "tests/planning/test_checks.py::test_a_wrong_connection_is_named_by_its_ratio",
            "tests/field/test_contact.py::test_what_does_not_agree_is_told_and_nothing_is_written",
            "tests/core/test_guard_alone.py::test_one_wrong_thing_alone_keeps_a_unit_from_closing",
        ),
        leaves="Where neither the source nor the unit has a meter, nobody measures the volts before load: prove them "
        "by hand. Volts read after closing are read after the damage.",
    ),
    Hazard(
        "unintended step",
        "Unintended step or overshoot",
        arises="A rearrangement of stages, a command that comes late or twice, a resume, load that is given to other "
        "units, a closing that is repeated when contact returns.",
        noticed="Everything that may be closed counts as closed until it is read back open.",
        bench="Sends a closing once and never repeats it; goes above neither the larger of old and new target by "
        "more than a smallest stage nor any limit while stages are exchanged; closings go out only after the "
        "openings they wait for were acknowledged; nothing that went off comes back by itself; a leg begins from "
        "what is on.",
        unit="Do nothing by itself when contact returns; its profile says so, or the plan warns.",
        causes=("load fell", "did not follow"),
        said=(Said("older than", "benchctl/core/obey.py"),),
        shown=(
            "tests/explore/test_explore.py::test_no_scan_of_the_small_world_breaks_a_law_and_nothing_is_left_out",
            "tests/campaign/test_campaign.py::test_no_scan_of_a_universe_breaks_a_law",
            "tests/safety/test_steps.py::test_what_the_source_sees_never_rises_by_more_than_a_block_nor_above_the_target",
            "tests/safety/test_steps.py::test_a_ramp_down_after_a_loss_raises_nothing",
            "tests/safety/test_steps.py::test_a_resume_after_load_went_off_is_bounded_by_the_largest_block",
            "tests/core/test_after_a_loss.py::test_a_ramp_up_begins_from_what_is_left_and_gives_the_share_back_along_it",
            "tests/core/test_by_hand.py::test_what_goes_off_stays_off_whatever_the_operator_answers",
            "tests/core/test_interlocks.py::test_load_that_was_lost_with_every_unit_does_not_come_back_in_the_same_leg",
            "tests/field/test_chain_writes.py::test_A7_no_closing_goes_out_after_an_opening_that_was_not_acknowledged",
            "tests/core/test_obey.py::test_what_is_older_than_two_seconds_is_refused_except_what_takes_load_off",
            "tests/laws/test_any_state.py::test_orders_are_never_more_than_was_wished_except_fans",
        ),
        leaves="Contactors of several units do not close in one instant: what the source sees within a scan is "
        "measured, not promised.",
    ),
    Hazard(
        "block too large",
        "Block larger than allowed",
        arises="A program or a hand asks for more at once than the set bears; a limit is left at a value that is not "
        "the maker's.",
        noticed="In the plan, before the run; in each scan by the room that fills up to the largest block over the "
        "settling time.",
        bench="Cuts a larger block into allowed ones and says so in the plan; by hand and after a resume the same room "
        "bounds the rise. Too deep a dip after a block is a drop.",
        unit="Nothing: it closes what it is told.",
        causes=("hertz low after block", "volts low after block"),
        said=(Said("a larger block may stall or trip it", "benchctl/core/site.py"),),
        shown=(
            "tests/safety/test_steps.py::test_a_block_above_the_largest_reaches_the_source_in_allowed_pieces",
            "tests/planning/test_checks.py::test_a_block_above_the_largest_says_how_a_run_cuts_it",
            "tests/core/test_by_hand.py::test_the_largest_block_bounds_a_burst",
            "tests/core/test_advance.py::test_two_blocks_never_fall_into_one_scan",
        ),
        leaves="What a set bears is its maker's to say; 25 % is a default for an unknown or cold set without a "
        "published source.",
    ),
    Hazard(
        "meter wrong",
        "Meter reversed, exchanged or of a wrong ratio",
        arises="A current transformer is turned round or sits on another phase; a ratio is entered wrongly, or applied "
        "twice.",
        noticed="By the check load before the program: measured kW of each phase against the stages closed. Later by "
        "delivered kW against the stages read back, and by a source that shows less than the units draw.",
        bench="Does not begin a program whose check load failed or proved nothing without a recorded override. In a "
        "run it tells and does not hold.",
        unit="Nothing.",
        causes=("kW do not match", "source meter low", "over-current", "over-power"),
        said=(
            Said("current transformer", "benchctl/core/checkload.py"),
            Said("all phases alike: transformer ratio", "benchctl/core/checkload.py"),
            Said("go on although the check load failed or could not be demonstrated", "benchctl/core/overrides.py"),
        ),
        shown=(
            "tests/safety/test_meters.py::test_no_program_begins_on_a_meter_that_the_check_load_proves_wrong",
            "tests/safety/test_meters.py::test_trim_raises_nothing_on_a_meter_that_shows_less_than_the_units_draw",
            "tests/core/test_checks.py::test_wrong_wiring_is_named_and_the_test_does_not_begin",
            "tests/core/test_causes.py::test_a_burnt_element_that_is_known_is_no_mismatch",
            "tests/field/test_decode.py::test_C1_a_signed_value_is_signed_and_the_unsigned_reading_is_refused_by_its_range",
            "tests/record/test_trail.py::test_a_transformer_the_wrong_way_round_proves_nothing_and_is_named",
        ),
        leaves="Where units have no meters of their own and the site's load is not metered, a meter that turns wrong "
        "in a run is not noticed; one that shows too much looks like other load of the site: load is lowered for it.",
    ),
    Hazard(
        "meter stale",
        "Meter frozen, stale or lost; trim that would chase it",
        arises="A meter or its gateway hangs and answers old values, or nothing; volts go and hertz are still told.",
        noticed="By the age of each answer, and by values that do not move while load does.",
        bench="Values of a frozen or silent meter are not used. Trim stands still without a live meter of the source "
        "and has a tenth of the target as its whole authority; it never raises on sagging volts or hertz.",
        unit="Nothing.",
        causes=("source meter lost", "source meter frozen", "hertz not measured"),
        shown=(
            "tests/safety/test_meters.py::test_trim_raises_nothing_while_the_meter_tells_nothing_new",
            "tests/safety/test_meters.py::test_trim_does_not_chase_a_meter_that_froze_below_the_target",
            "tests/core/test_trim.py::test_it_stands_still_while_a_loaded_unit_is_silent_and_without_a_meter",
            "tests/core/test_trim.py::test_it_never_raises_on_a_source_whose_volts_or_hertz_are_out_of_band",
            "tests/core/test_trim.py::test_levels_do_not_chase_a_sag",
            "tests/rehearsal/test_rehearsal.py::test_a_meter_that_freezes_or_falls_silent_is_told_and_the_test_is_completed",
            "tests/field/test_decode.py::test_C7_hertz_mean_something_only_where_there_are_volts",
        ),
        leaves="For as long as an answer counts as live (3 s, or the meter's own refresh) the last values rule. "
        "Without a meter the limits of the source are watched by people only.",
    ),
    Hazard(
        "source overloaded",
        "Source overloaded, stalling or sagging",
        arises="Fuel or air is short, the set is rated for less at this altitude, the site's own load comes on, the "
        "target is too high.",
        noticed="Hertz, volts, amps and kW of the source's meter in every scan, each with a delay that outlasts what a "
        "block may do.",
        bench="Drops everything when the set stalls or sags for long, takes load off in seconds when amps or kW are "
        "above the rating, and trips latch: hertz that recover bring nothing back.",
        unit="Nothing; a unit without volts draws nothing and may close again when they return, unless its orders were "
        "opened.",
        causes=(
            "hertz stall",
            "hertz low",
            "hertz below warning",
            "volts very low",
            "volts low",
            "over-current",
            "over-power",
        ),
        shown=(
            "tests/safety/test_source.py::test_a_set_that_stalls_is_relieved_at_once_and_gets_nothing_back",
            "tests/core/test_interlocks.py::test_a_trip_keeps_its_first_cause_and_is_not_reset_by_itself",
            "tests/core/test_obey.py::test_reset_starts_nothing",
            "tests/core/test_guard_local.py::test_a_source_above_its_limit_is_relieved_by_the_units_that_take_orders",
        ),
        leaves="The set's own protection is quicker than any scan: under-frequency, over-current and reverse power "
        "relays must be in service during the test.",
    ),
    Hazard(
        "source hunting",
        "Source hunting",
        arises="A governor or regulator that is not tuned, air in the fuel, load that is switched to and fro.",
        noticed="By hertz or volts outside their band for 5 s; shorter swings only by holds that start in band and "
        "by the assessment of the record.",
        bench="Does not begin a hold that must start in band, moves no load by itself while hertz are out of band, and "
        "shows no steady value where samples swing.",
        unit="Nothing.",
        causes=("hertz off", "volts off"),
        shown=(
            "tests/safety/test_source.py::test_on_a_set_that_hunts_no_load_is_moved_by_itself",
            "tests/core/test_advance.py::test_a_hold_that_starts_in_band_waits_for_its_meter_then_asks_and_goes_on_with_yes",
            "tests/assessment/test_steady.py::test_a_set_that_hunts_is_not_steady_whatever_its_mean",
            "tests/assessment/test_steady.py::test_a_sample_each_period_cannot_see_the_swing_and_says_how_far_apart_its_samples_are",
        ),
        leaves="Swings quicker than 5 s are no alarm in a run, and those quicker than the meter's refresh are not seen "
        "at all: listen to the engine.",
    ),
    Hazard(
        "phase lost",
        "A phase of the source lost",
        arises="A pole of the breaker, a fuse, a lug, a cable.",
        noticed="By line and phase volts against each other in every scan.",
        bench="Drops everything after half a second.",
        unit="Nothing; fans that hang on the source may stop.",
        causes=("phase lost",),
        shown=(
            "tests/safety/test_source.py::test_a_lost_phase_takes_all_load_off_within_three_scans",
            "tests/simulator/test_network.py::test_a_lost_phase_leaves_what_circuit_theory_leaves",
        ),
        leaves="Without a meter of volts at the source a lost phase shows only as kW that are missing.",
    ),
    Hazard(
        "load rejection",
        "Load rejection at full load",
        arises="A drop, a trip, an emergency stop or a breaker takes everything off at once: the set speeds up.",
        noticed="By hertz above 105 %.",
        bench="Does not avoid it: a drop that was asked for comes first. It tells, and never takes more off because "
        "of over-speed; nothing comes back by itself. Where a program rejects load, the plan counts it against the "
        "largest block down.",
        unit="Nothing.",
        causes=("hertz high",),
        shown=(
            "tests/safety/test_source.py::test_a_drop_at_full_load_is_off_in_truth_told_as_over_speed_and_brings_nothing_back",
            "tests/core/test_causes.py::test_over_hertz_never_takes_load_off",
            "tests/planning/test_draft.py::test_blocks_keep_to_the_sites_largest_and_a_rejection_is_declared",
        ),
        leaves="The over-speed trip of the engine must be in service and proven.",
    ),
    Hazard(
        "site needs the set",
        "The site needs the set, or its load comes on",
        arises="The utility fails during the test; a pump starts on the same bus.",
        noticed="By a contact that the site gives, where one is wired; by the source's kW and amps.",
        bench="Drops everything at once and leaves the set to the site. The site's own load, as metered or as "
        "reserved, counts against every limit.",
        unit="Nothing.",
        causes=("site needs the set", "over-power"),
        shown=(
            "tests/safety/test_source.py::test_when_the_site_needs_the_set_it_has_it_within_two_scans",
            "tests/rehearsal/test_rehearsal.py::test_a_rough_day_ends_when_the_site_needs_the_set_and_names_what_was_wrong_before",
            "tests/planning/test_checks.py::test_the_upper_limit_counts_site_load_where_no_meter_tells_it",
        ),
        leaves="Without that contact a person has to drop. Transfer of the site's load is not ours.",
    ),
)
