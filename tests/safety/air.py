"""Hazards of air and heat: resistors without air glow within seconds."""

from tests.safety.hazard import Hazard, Said

AIR: tuple[Hazard, ...] = (
    Hazard(
        "load without air",
        "Load without airflow",
        arises="A fan fails, runs backwards or never started; an inlet or a louvre is shut; a stage closes before the "
        "air is there.",
        noticed="By the airflow proof of each unit in every scan; a proof that is not known for 3 s counts as none. "
        "Before load the proof must have been seen off with the fan off, then on.",
        bench="Closes no stage of a unit whose air is not proven in that scan. Under load it opens all stages of the "
        "unit in the scan that shows no air; the fan stays ordered on, the program goes on with the others.",
        unit="Hold its contactors through the fan's contactor and the airflow switch, and trip without air: at 0.5 s a "
        "scan the bench is too slow to be the only one.",
        causes=("load without air", "airflow lost", "air not known"),
        shown=(
            "tests/explore/test_explore.py::test_no_scan_of_the_small_world_breaks_a_law_and_nothing_is_left_out",
            "tests/campaign/test_campaign.py::test_no_scan_of_a_universe_breaks_a_law",
            "tests/safety/test_air.py::test_load_whose_air_fails_is_off_within_two_scans_and_the_fan_stays_ordered_on",
            "tests/core/test_perceive.py::test_air_counts_only_when_it_was_seen_off_before",
            "tests/core/test_guard_alone.py::test_one_wrong_thing_alone_keeps_a_unit_from_closing",
            "tests/laws/test_any_state.py::test_no_orders_break_a_law_whatever_the_state",
            "tests/explore/test_mutants.py::test_the_exploration_catches",
            "tests/rehearsal/test_rehearsal.py::test_with_a_failing_fan_one_unit_comes_off_and_the_others_carry_on",
        ),
        leaves="Air that blows the wrong way or in a circle closes the switch all the same: look at each unit when "
        "its fan starts.",
    ),
    Hazard(
        "fans stopped hot",
        "Fans stopped while the resistors are hot",
        arises="The emergency stop of a unit stops its fans; their supply is lost; fans hang on the source under "
        "test and it stops; somebody ends the test, or the program that serves it, too early.",
        noticed="Each unit's debt of cool-down is counted from its load on, owed in full whenever it is not known; the "
        "emergency stop, the fans' supply and the source's volts are read in every scan.",
        bench="Orders fans on wherever a unit is hot or not known, and pays the debt only by time with air seen. "
        "Only a recorded override ends it early. The run host does not end before it is paid. After an emergency "
        "stop fans wait until somebody confirms them, and that stands as an alarm.",
        unit="Run its fans by itself until it is cool, on a supply of its own where that can be had; keep them when "
        "its watchdog drops the load.",
        causes=("emergency stop", "hot, fans stopped", "fan supply lost", "hot, no fan supply", "cool-down too long"),
        said=(Said("end the cool-down of a unit without load before it is paid", "benchctl/core/overrides.py"),),
        shown=(
            "tests/campaign/test_campaign.py::test_no_scan_of_a_universe_breaks_a_law",
            "tests/safety/test_air.py::test_after_an_emergency_stop_hot_fans_wait_to_be_confirmed_and_that_is_told",
            "tests/safety/test_air.py::test_fans_without_supply_take_the_load_of_their_unit_off",
            "tests/safety/test_air.py::test_a_source_that_stops_under_fans_that_hang_on_it_is_told",
            "tests/core/test_cooldown.py::test_no_command_shortens_a_debt",
            "tests/core/test_cooldown.py::test_after_an_emergency_stop_fans_wait_until_they_are_confirmed",
            "tests/core/test_cooldown.py::test_at_first_contact_every_unit_owes_the_whole_debt",
            "tests/controller/test_ending.py::test_it_never_ends_by_itself_while_heat_is_owed",
            "tests/system/test_live.py::test_a_controller_that_is_asked_to_end_unloads_cools_down_and_only_then_ends",
        ),
        leaves="A unit whose fans have no supply cannot be cooled by anybody: keep doors shut, people away, and the "
        "source running where fans hang on it.",
    ),
    Hazard(
        "proof stuck",
        "Airflow proof stuck at true",
        arises="A pressure switch sticks, a contact is bridged, a wire is on the wrong terminal.",
        noticed="While the fan is off: air although nothing blows. Under load it is not noticed by the proof; the "
        "fan's overload relay, its supply and the exhaust's temperature are what is left.",
        bench="Loads no unit whose proof was not seen off with the fan off. Under load it takes the unit off when "
        "the fan reports a fault or the exhaust passes its limit.",
        unit="Trip on over-temperature near the resistors by a device of its own. In still air the exhaust's sensor "
        "tells late: this trip is the defence that counts.",
        causes=("airflow proof stuck",),
        said=(Said("the fan motor's overload relay has operated", "configs/units/coil-150.yaml"),),
        shown=(
            "tests/safety/test_air.py::test_a_proof_that_lies_from_the_beginning_keeps_its_unit_without_load",
            "tests/safety/test_air.py::test_a_proof_that_lies_under_load_is_backed_by_what_the_fan_reports",
            "tests/core/test_perceive.py::test_air_that_blows_without_a_fan_proves_nothing",
            "tests/simulator/test_unit.py::test_without_air_and_with_a_lying_switch_the_exhaust_trips_the_unit",
        ),
        leaves="A switch that sticks under load, in a unit that reports nothing of its fan's motor, is not seen by us.",
    ),
    Hazard(
        "exhaust too hot",
        "Exhaust too hot: blocked inlet, recirculation",
        arises="Something lies before an inlet; hot air comes back from a wall, from the next unit or with the wind.",
        noticed="By exhaust and inlet temperatures against the rise that the unit's air flow allows.",
        bench="Warns at 25 % above the expected rise and takes the unit off at the site's limit, never later than "
        "short of the unit's own trip.",
        unit="Trip by itself at its own temperature.",
        causes=("over-temperature", "exhaust warm", "inlet warm"),
        said=(Said("the unit's own over-temperature trip has operated", "configs/units/coil-150.yaml"),),
        shown=(
            "tests/safety/test_air.py::test_air_that_is_short_is_noticed_before_the_unit_trips",
            "tests/safety/test_air.py::test_a_unit_that_trips_by_its_own_temperature_stays_off",
            "tests/simulator/test_heat.py::test_the_steady_rise_is_power_over_mass_flow_and_heat_capacity",
        ),
        leaves="One sensor sees one place of the outlet; limits use the rise at full load, so that at part load a "
        "hot spot is told late.",
    ),
    Hazard(
        "temperature sensor",
        "Temperature sensor frozen, drifting or missing",
        arises="A broken wire, a converter that keeps its last value, a sensor that hangs loose in cold air.",
        noticed="A missing one in every scan. A frozen or drifting one is not noticed as such.",
        bench="No stage closes in a unit that should tell its temperature and does not. A cool-down is never shorter "
        "than its time with air, whatever a sensor says; one that never reads cool is an alarm.",
        unit="Trip by a device that does not share the sensor that it reports.",
        causes=("temperature missing", "cool-down too long"),
        shown=(
            "tests/safety/test_air.py::test_a_frozen_sensor_shortens_no_cool_down",
            "tests/safety/test_air.py::test_a_sensor_lost_under_load_is_told_and_nothing_more_closes_in_its_unit",
            "tests/core/test_cooldown.py::test_a_debt_is_paid_by_time_with_air_and_an_exhaust_near_its_reference",
            "tests/laws/test_any_state.py::test_no_orders_break_a_law_whatever_the_state",
        ),
        leaves="A sensor that reads too low says nothing of an exhaust that gets too hot: compare them before load, "
        "when all of them must read the air's temperature.",
    ),
)
