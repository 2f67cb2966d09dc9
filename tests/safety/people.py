"""Hazards of people, screens, records, files and strangers."""

from tests.safety.hazard import Hazard, Said

PEOPLE: tuple[Hazard, ...] = (
    Hazard(
        "console dead",
        "Console dead or blocked",
        arises="A window is closed, a line drops, a terminal takes no output, a client hangs.",
        noticed="By a console whose own loop no longer answers.",
        bench="No console is in the scan's way. Nobody attached is an alarm at once and an unload after the site's "
        "time; any other console, or a shell, can unload and drop.",
        unit="Nothing.",
        causes=("nobody attached",),
        shown=(
            "tests/system/test_ssh.py::test_a_link_that_falls_silent_is_a_lost_console_once_the_server_has_given_it_up",
            "tests/system/test_attendance.py::test_a_console_that_is_killed_is_an_alarm_at_once_and_an_unload_after_the_sites_time",
            "tests/system/test_attendance.py::test_a_console_that_is_stopped_counts_as_gone_moves_no_scan_and_is_there_again_when_it_goes_on",
            "tests/system/test_live.py::test_a_client_that_is_killed_changes_nothing_and_another_unloads",
            "tests/door/test_server.py::test_a_client_that_never_reads_costs_no_other_a_scan_and_no_memory",
            "tests/tui/test_terminal.py::test_a_terminal_that_takes_no_output_is_not_attached_until_it_does_again",
        ),
        leaves="For the site's time (five minutes by default) load stays on with nobody at a screen.",
    ),
    Hazard(
        "nobody there",
        "Nobody there",
        arises="The operator leaves, falls ill, or is at the other end of the yard.",
        noticed="By no sign of a person for a while: a question, an alarm, then an unload.",
        bench="Unloads in steps after the site's times. An unattended run needs the site file's word and stands in the "
        "record and on every page.",
        unit="Nothing.",
        causes=("no sign of a person",),
        shown=(
            "tests/system/test_attendance.py::test_a_person_who_does_not_come_is_an_alarm_and_then_an_unload_although_the_console_is_attached",
            "tests/core/test_attendance.py::test_whatever_a_person_does_is_a_sign_of_one",
            "tests/core/test_attendance.py::test_where_the_site_does_not_allow_it_charge_stays_as_it_was",
            "tests/system/test_live.py::test_an_unattended_run_needs_the_site_files_word",
        ),
        leaves="A key pressed is no proof that anybody looks at the banks.",
    ),
    Hazard(
        "stale picture",
        "Operator misled by old figures",
        arises="The run host or a meter falls silent and the screen still shows its last values; a broker keeps them.",
        noticed="Every value has an age; a picture has one too.",
        bench="Old figures stand in parentheses, missing ones are dashes, never zero. An order that is based on a "
        "picture older than 2 s is refused, except what takes load off. What a broker kept is never shown as live.",
        unit="Nothing.",
        said=(Said("older than", "benchctl/core/obey.py"),),
        shown=(
            "tests/tui/test_whole.py::test_an_old_picture_says_so_in_words_and_no_figure_looks_live",
            "tests/tui/test_whole.py::test_what_nobody_knows_the_age_of_never_looks_live",
            "tests/controller/test_orders.py::test_an_order_based_on_a_picture_older_than_two_seconds_is_refused",
            "tests/mqtt/test_gathered.py::test_what_the_broker_has_kept_is_never_live_whatever_it_says",
            "tests/tui/test_watching.py::test_no_figure_of_a_bench_that_is_not_live_looks_live",
            "tests/core/test_snapshot.py::test_a_scan_that_could_not_be_decided_never_says_that_load_is_off",
        ),
        leaves="A frozen terminal shows what it showed: the time on the screen must move.",
    ),
    Hazard(
        "paste",
        "Paste, wrong key, wrong window",
        arises="Text meant for another window arrives; Ctrl-C in the wrong one; a key that means something else "
        "elsewhere.",
        noticed="By keys that come faster than a person types.",
        bench="Nothing pasted is an order, not even a line end. Leaving with load on asks and names the load. The "
        "drop key means the drop on every page, in every form and field, and is bound to nothing else.",
        unit="Nothing.",
        said=(Said("pasted text ignored", "benchctl/tui/app.py"),),
        shown=(
            "tests/tui/test_gate.py::test_E3_whatever_is_pasted_as_plain_keys_into_any_page_orders_nothing",
            "tests/tui/test_terminal.py::test_E3_what_is_pasted_into_a_real_terminal_orders_nothing",
            "tests/tui/test_app.py::test_E5_every_way_out_asks_the_same_question_which_names_the_load",
            "tests/tui/test_app.py::test_the_drop_works_with_every_form_open_and_in_every_field",
            "tests/tui/test_keys.py::test_no_key_means_two_things_on_a_page",
            "tests/system/test_signals.py::test_what_ends_a_client_is_no_harm_to_the_load",
        ),
        leaves="Whoever types slowly into the wrong window is not told from whoever means it: orders ask for charge, "
        "and what is large asks once more.",
    ),
    Hazard(
        "two people",
        "Two people who each believe they have charge",
        arises="Two consoles, a hand-over that was not told, one person under two names.",
        noticed="Charge is one person at one console, named on every page.",
        bench="Refuses the orders of everybody else with who has charge; taking over needs a reason and is told to "
        "both. Unload and drop are everybody's.",
        unit="Nothing.",
        said=(Said(" has taken over from ", "benchctl/core/charge.py"),),
        shown=(
            "tests/system/test_ssh.py::test_over_ssh_a_terminal_is_killed_a_second_person_takes_over_both_are_lost_and_all_of_it_is_told",
            "tests/core/test_charge.py::test_whoever_only_watches_is_refused_every_order_with_the_name_of_who_has_charge",
            "tests/core/test_charge.py::test_nothing_keeps_anybody_from_taking_load_off",
            "tests/system/test_many_consoles.py::test_a_second_console_watches_takes_over_with_a_reason_and_the_first_is_told",
            "tests/controller/test_orders.py::test_two_people_in_one_scan_get_each_their_own_answer",
        ),
        leaves="Names are typed and not proven.",
    ),
    Hazard(
        "alarm flood",
        "A flood of alarms that hides the cause",
        arises="One fault brings a dozen alarms within a scan; a value chatters about its limit.",
        noticed="By the scan in which each alarm was first seen.",
        bench="Marks what came first and, within one scan, says that the order is not known; a trip keeps its first "
        "cause. Dead bands and delays make one alarm of a chatter. Only alarms that tell may be shelved, for a "
        "while, with a reason (states after IEC 62682).",
        unit="Latch its own first fault, where it can.",
        shown=(
            "tests/safety/test_flood.py::test_when_everything_fails_at_once_the_trip_names_what_came_first",
            "tests/core/test_causes.py::test_H5_of_several_alarms_the_first_scan_is_first_out_and_within_it_the_order_is_not_known",
            "tests/core/test_causes.py::test_H3_chatter_is_one_activation_with_a_dead_band",
            "tests/tui/test_whole.py::test_the_first_out_alarm_is_named_and_the_others_are_counted",
            "tests/core/test_shelving.py::test_no_interlock_and_nothing_of_air_heat_or_absence_can_be_shelved",
        ),
        leaves="A scan is half a second at best: what happened within it has no order.",
    ),
    Hazard(
        "record lost",
        "Record lost",
        arises="The disk is full, slow, read only or pulled out; the process is killed; two write one file.",
        noticed="The recorder's health is an input of the next scan.",
        bench="Goes on with load and cool-down, holds the program, says RECORDING STOPPED. Space is reserved "
        "beforehand; what was kept stays readable; a killed run is closed as interrupted by the next start.",
        unit="Nothing.",
        causes=("record stopped",),
        shown=(
            "tests/campaign/test_kills.py::test_a_loss_of_power_takes_the_last_transaction_at_most",
            "tests/campaign/test_kills.py::test_a_second_writer_is_refused_while_the_first_lives",
            "tests/system/test_disk.py::test_F5_a_full_disk_stops_the_record_in_words_and_nothing_else",
            "tests/record/test_recorder.py::test_after_kill_9_everything_acknowledged_is_there",
            "tests/record/test_recorder.py::test_two_processes_do_not_write_one_record",
            "tests/record/test_live.py::test_a_slow_disk_never_holds_up_the_caller_and_what_is_dropped_is_told",
            "tests/record/test_recover.py::test_a_killed_process_leaves_a_run_that_is_closed_whole_with_its_last_second_told",
        ),
        leaves="A disk that acknowledges and loses is not noticed before the record is read.",
    ),
    Hazard(
        "record altered",
        "Record altered",
        arises="Somebody improves a figure; a disk turns a bit over.",
        noticed="By a chain of hashes through all rows, a seal beside the file, and a replay of every decision.",
        bench="`verify` names the place; assessment, report and late entries refuse or say so.",
        unit="Nothing.",
        shown=(
            "tests/record/test_verify.py::test_a_bit_turned_over_in_any_column_of_any_table_is_found_and_placed",
            "tests/record/test_verify.py::test_any_bit_turned_over_anywhere_in_the_closed_file_is_noticed",
            "tests/record/test_late.py::test_a_record_that_is_altered_or_not_sealed_or_not_closed_takes_no_entries",
            "tests/record/test_replay.py::test_other_orders_are_found_at_their_scan_and_told_side_by_side",
            "tests/report/test_content.py::test_an_altered_record_is_told_in_the_banner",
        ),
        leaves="Whoever makes all of it anew, seal included, is found only by a hash that was given away before.",
    ),
    Hazard(
        "report claims too much",
        "A report that claims too much",
        arises="A mean that hides a dip, a gap that is drawn through, a rehearsal taken for a test, a limit from "
        "memory.",
        noticed="By rules that ask for unbroken, observed, proven time.",
        bench="Says shown, not met or not demonstrated, each with the sum to do again; what is missing stands on "
        "page one; a rehearsal says that it proves nothing; uncertain limits say so.",
        unit="Nothing.",
        said=(Said("Acceptance is the authority's.", "benchctl/report/english.py"),),
        shown=(
            "tests/report/test_content.py::test_a_verdict_is_never_called_pass_or_fail",
            "tests/report/test_content.py::test_a_rehearsal_says_that_it_proves_nothing_before_anything_else",
            "tests/report/test_wrong_runs.py::test_a_gap_is_credited_to_nobody",
            "tests/assessment/test_laws.py::test_a_good_sample_that_is_lost_never_makes_a_verdict_better",
            "tests/assessment/test_times.py::test_one_reading_below_breaks_the_time_although_the_mean_is_above",
            "tests/report/test_marks.py::test_a_limit_that_is_not_certain_says_so",
        ),
        leaves="Figures are as good as the instruments, and the choice of rule set is a person's.",
    ),
    Hazard(
        "strangers",
        "Strangers on the network",
        arises="Another user of the computer, a program on its ports, whoever publishes under the broker's topics, "
        "whoever reaches the units' network.",
        noticed="By a proof of the card's secret; by what a message may be.",
        bench="The door listens on this computer only, to whoever proves the secret; floods keep no drop out and "
        "stop no scan. To a broker it tells and never listens. Words of others steer no terminal.",
        unit="Nothing: Modbus TCP asks nobody who he is.",
        shown=(
            "tests/door/test_intruder.py::test_before_he_is_in_nothing_that_he_says_reaches_the_bench",
            "tests/door/test_intruder.py::test_a_flood_of_connections_keeps_no_drop_out_and_stops_no_scan",
            "tests/door/test_intruder.py::test_the_port_is_of_this_computer_alone",
            "tests/mqtt/test_mosquitto.py::test_no_packet_that_subscribes_ever_leaves_us_and_nothing_published_comes_back",
            "tests/tui/test_watching.py::test_words_of_a_stranger_steer_no_terminal",
        ),
        leaves="Whoever reaches the units' network can write to them: keep it apart, without a way to the internet.",
    ),
    Hazard(
        "hostile files",
        "Hostile or broken files",
        arises="A program, profile, capture or record from somebody else; a typing error.",
        noticed="When read: schema, ranges, nesting, size.",
        bench="One line with the place and nothing done; no code in files, no way out of a folder, no formula in a "
        "table, no markup in a report or on a screen.",
        unit="Nothing.",
        shown=(
            "tests/files/test_hostile.py::test_no_damage_to_a_shipped_file_raises_anything_else",
            "tests/files/test_tree.py::test_nesting_has_a_bottom",
            "tests/files/test_shelf.py::test_what_is_no_file_is_refused_and_no_name_escapes_its_folder",
            "tests/capture/test_comtrade_form.py::test_a_damaged_file_is_read_or_told_of_in_words",
            "tests/record/test_export.py::test_text_reads_back_exactly_and_never_starts_a_formula",
            "tests/report/test_make.py::test_text_from_the_site_is_no_markup_in_the_page",
            "tests/files/test_profile.py::test_a_profile_that_could_not_be_run_safely_is_refused",
        ),
        leaves="A profile that is wrong but possible is believed: hold it against the data sheet and the known "
        "values at first contact.",
    ),
)
