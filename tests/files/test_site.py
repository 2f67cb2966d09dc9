"""Site files: what is read, and every rule that refuses one. The rules are our own."""

import re

import pytest

from benchctl.core.profile import FanSupply
from benchctl.core.site import Limits, WhenLost, Wiring
from benchctl.files import FileFault, SourceFile, read_site
from tests.files.paper import changed, flaws, marked, shelf, text_of


def test_northquay_is_the_demo_that_the_documents_tell():
    site, files = read_site("northquay")
    assert [u.name for u in site.units] == ["bank 1", "bank 2", "bank 3", "bank 4"]
    assert [u.profile.rated_kw for u in site.units] == [150, 150, 120, 80]
    plate = site.nameplate
    assert (plate.power_kw, plate.apparent_kva, plate.volts, plate.hertz) == (400, 500, 400, 50)
    assert (plate.wiring, plate.rating_class, plate.isochronous) == (Wiring.THREE_PHASE_4W, "ESP", True)
    assert site.limits.largest_block_up_percent == 50
    assert site.limits.volts_trip_percent == Limits().volts_trip_percent
    assert [(u.endpoint.port, u.endpoint.gateway) for u in site.units] == [
        (15021, False),
        (15022, False),
        (15023, False),
        (15024, True),
    ]
    assert [u.profile.fan.supply is FanSupply.SOURCE for u in site.units] == [False, False, True, False]
    assert site.attendance.unattended
    assert site.simulation.site_load_kw == 45
    assert [(f.kind, f.ref) for f in files] == [
        ("site", "northquay"),
        ("unit", "coil-150"),
        ("unit", "mask-120"),
        ("unit", "setpoint-80"),
        ("instrument", "float-meter"),
        ("instrument", "set-panel"),
    ]


def test_what_the_place_leaves_of_the_nameplate_is_the_makers_to_state(tmp_path):
    text = changed("site", "northquay", "  # derated:", "  derated:")
    (tmp_path / "high.yaml").write_text(text, encoding="utf-8")
    plate = read_site(str(tmp_path / "high.yaml"))[0].nameplate
    assert (plate.power_kw, plate.derated_kw) == (400.0, 380.0)
    assert plate.derated_why == "maker's table: 1000 m, 45 degrees"
    assert read_site("northquay")[0].nameplate.derated_kw is None


def test_northquay_reaches_its_nameplate_at_395_volts_and_with_the_smallest_unit_lost():
    """Arithmetic: P = P_rated (V / V_rated)^2; a unit that corrects for volts gives its kW."""
    site, _ = read_site("northquay")
    at_395 = sum(u.profile.rated_kw * (1 if u.profile.setpoint else (395 / u.profile.rated_v) ** 2) for u in site.units)
    assert at_395 > 400
    assert site.rated_kw - min(u.profile.rated_kw for u in site.units) >= 400


def test_millrace_cannot_reach_its_nameplate():
    site, _ = read_site("millrace")
    reach = sum(u.profile.rated_kw * (site.nameplate.volts / u.profile.rated_v) ** 2 for u in site.units)
    assert reach == pytest.approx(371.6, abs=0.05)
    assert site.when_lost is WhenLost.UNLOAD
    assert site.attendance.unattended


@pytest.mark.parametrize(
    ("dog", "said", "lost_s"),
    [(True, "{}", 300.0), (False, "{}", 120.0), (False, "{console_lost: 7 min, hold_meanwhile: true}", 420.0)],
)
def test_a_console_may_be_lost_for_five_minutes_and_for_two_where_a_unit_has_no_watchdog(tmp_path, dog, said, lost_s):
    """Unless the site says its own time; the times are common practice, no source."""
    unit = text_of("unit", "setpoint-80")
    if not dog:
        unit = re.sub(r"(?m)^watchdog:.*\n", "", unit)
    (tmp_path / "own.yaml").write_text(unit, encoding="utf-8")
    text = changed("site", "northquay", "profile: setpoint-80", "profile: ./own.yaml")
    block = text[text.index("attendance:") : text.index("simulation:")]
    (tmp_path / "here.yaml").write_text(text.replace(block, f"attendance: {said}\n\n"), encoding="utf-8")
    site, _ = read_site(str(tmp_path / "here.yaml"))
    assert site.attendance.console_lost_s == lost_s
    assert (site.attendance.unattended, site.attendance.hold_meanwhile) == (False, lost_s == 420.0)


def test_alder_ridge_has_ten_units_behind_two_gateways():
    site, _ = read_site("alder-ridge")
    assert len(site.units) == 10
    assert site.rated_kw == 1250
    assert {(u.endpoint.port, u.unit_id) for u in site.units} == {(15121 + i // 5, i % 5 + 1) for i in range(10)}
    assert all(u.endpoint.gateway for u in site.units)


def test_a_recorded_shelf_gives_the_same_site_again():
    site, files = read_site("northquay")
    from benchctl.files import RecordedShelf

    assert read_site("northquay", RecordedShelf(files)) == (site, files)


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("{name: bank 2,", "{name: ¶bank 1,", "'bank 1' is already the name of units number 1"),
        ("- name: source meter", "- name: ¶bank 1", "'bank 1' is already the name of units number 1"),
        ("- name: source meter", "- name: ¶source", "already the word for the source"),
        ("at: 127.0.0.1:15022,", "at: ¶127.0.0.1:15021,", "127.0.0.1:15021 with unit id 255 is already 'bank 1'"),
        ("at: 127.0.0.1:15026}", "at: ¶127.0.0.1:15023}", "is already 'bank 3'"),
        ("at: 127.0.0.1:15022,", "at: ¶127.0.0.1:99999,", "is no socket, expected for instance 192.168.8.21:502"),
        ("unit_id: 4,", "unit_id: ¶0,", "found 0, expected 1 to 247 behind a gateway"),
        ("unit_id: 4,", "unit_id: ¶256,", "found '256', expected at most 255"),
        ("profile: mask-120", "profile: ¶mask-12", "no such unit"),
        ("profile: mask-120", "profile: ¶mask-125", "'mask-125' is rated 60 Hz, the source 50 Hz"),
        ("  volts: 400 ", "  volts: 900 ", "would see 900 V: a wrong profile?"),
        ("place: source ", "place: ¶roof ", "found 'roof', expected one of: source, site load, chain, panel"),
        ("place: source ", "place: ¶panel ", "found 'panel', but 'float-meter' is a meter"),
        ("place: panel,", "place: ¶chain,", "found 'chain', but 'set-panel' is a panel"),
        (
            "{primary_a: 1000, secondary_a: 5, applied: true}",
            "¶{primary_a: 1000, applied: true}",
            "key 'secondary_a' is missing here (needed: primary_a, secondary_a)",
        ),
        ("calibration_due: 2049-06-30", "calibration_due: ¶2049-13-30", "is no date"),
        ("power: 400 kW", "power: ¶400", "'400' has no unit, expected a power such as 250 kW or 0.3 MW"),
        ("power: 400 kW", "power: ¶450 kW", "450 kW is more than 500 kVA at a power factor of 0.8 gives"),
        ("apparent: 500 kVA", "apparent: ¶300 kVA", "expected at least the 400 kW of 'power'"),
        ("apparent: 500 kVA", "apparent: ¶500 kW", "no unit of apparent power"),
        ("hertz: 50\n", "¶herz: 50\n  hertz: 50\n", "unknown key 'herz', did you mean 'hertz'?"),
        (
            "isochronous: true ",
            "derated: {power: ¶410 kW, why: heat}\n  isochronous: true ",
            "found 410 kW, expected more than 0 and at most the 400 kW of 'power'",
        ),
        ("isochronous: true ", "derated: ¶{power: 380 kW}\n  isochronous: true ", "key 'why' is missing here"),
        ("isochronous: true ", "droop_percent: ¶4\n  isochronous: true ", "an isochronous source has no droop"),
        ("wiring: three-phase four-wire", "wiring: ¶three phase", "did you mean 'three-phase"),
        (
            "largest_block_up_percent: 50",
            "¶largest_blok_up_percent: 50",
            "is no limit, did you mean 'largest_block_up_percent'?",
        ),
        ("largest_block_up_percent: 50", "largest_block_up_percent: ¶-50", "found '-50', expected at least 0"),
        ("largest_block_up_percent: 50", "largest_block_up_percent: ¶.nan", "expected a finite number"),
        ("largest_block_up_percent: 50", "volts_warn_percent: ¶12", "the first must be the lower one"),
        ("largest_block_up_percent: 50", "hertz_low_percent: ¶80", "hertz_low_percent 80 and hertz_stall_percent 85"),
        ("largest_block_up_percent: 50", "largest_block_up_percent: ¶no", "found 'no', expected a number"),
        ("unattended: allowed ", "unattended: ¶true ", "found 'true', expected one of: allowed, never"),
        ("unattended: allowed ", "hold_meanwhile: ¶yes ", "found 'yes', expected true or false"),
        ("unattended: allowed ", "check_in: ¶30 min ", "found 1800 s, expected more than 0 and at most 20 min"),
        ("unattended: allowed ", "check_in: ¶0 s ", "found 0 s, expected more than 0 and at most 20 min"),
        ("unattended: allowed ", "check_in_alarm: ¶0 s ", "found 0 s, expected more than 0 and at most 20 min"),
        ("unattended: allowed ", "check_in_unload: ¶21 min ", "found 1260 s, expected more than 0 and at most 20 min"),
        ("unattended: allowed ", "console_lost: ¶0 s ", "found 0 s, expected more than 0"),
        ("fan_supply: source", "fan_supply: ¶sauce", "expected one of: separate, source"),
        ("name: standby set", 'name: ¶"a\\e[31mb"', "cannot be printed"),
        ("altitude_m: 6", "altitude_m: ¶9000", "at most 6000"),
    ],
)
def test_a_wrong_site_is_told_with_its_place(old, new, told):
    text = changed("site", "northquay", old, new)
    place = "x.yaml:"
    if "¶" in text:
        text, place = marked(text)
    found = flaws("site", text)
    assert any(f.startswith(place) and told in f for f in found), found
    assert len(found) == (4 if "wrong profile?" in told else 2 if "is a meter" in told else 1), found


def test_a_missing_profile_lists_near_names_and_where_it_looked(tmp_path):
    file = tmp_path / "here.yaml"
    file.write_text(changed("site", "northquay", "profile: mask-120", "profile: mask-12"), encoding="utf-8")
    with pytest.raises(FileFault) as fault:
        read_site(str(file))
    told = str(fault.value)
    assert "mask-12: no such unit; looked for mask-12, " in told
    assert "did you mean 'mask-125'?" in told
    assert str(tmp_path / "mask-12.yaml") in told
    assert "benchctl/configs/units/mask-12.yaml" in told
    line = (
        file.read_text(encoding="utf-8")
        .splitlines()
        .index(next(text for text in file.read_text(encoding="utf-8").splitlines() if "mask-12," in text))
        + 1
    )
    assert told.startswith(f"{file}:{line}:29: ")


def test_flaws_of_a_profile_are_told_at_the_profile_once():
    bad = SourceFile.of("unit", "coil-150", "y/coil-150.yaml", changed("unit", "coil-150", "proof: 8 s", "proof: 0 s"))
    with pytest.raises(FileFault) as fault:
        read_site("x", shelf(SourceFile.of("site", "x", "x.yaml", text_of("site", "northquay")), bad))
    assert [f.path for f in fault.value.flaws] == ["y/coil-150.yaml"]


def test_a_three_phase_unit_does_not_fit_a_single_phase_source():
    text = changed("site", "northquay", "three-phase four-wire", "single-phase two-wire")
    assert all("is a three-phase unit" in f for f in flaws("site", text))
    assert len(flaws("site", text)) == 4


def test_a_socket_without_port_is_the_port_of_modbus_tcp():
    """Port 502: Modbus Messaging on TCP/IP Implementation Guide."""
    text = changed("site", "northquay", "at: 127.0.0.1:15021,", "at: bank-one.local,")
    site, _ = read_site("x", shelf(SourceFile.of("site", "x", "x.yaml", text)))
    assert (site.units[0].endpoint.host, site.units[0].endpoint.port) == ("bank-one.local", 502)


def test_times_of_attendance_are_the_sites_or_what_is_usual():
    """Usual: asked after 5 min, alarm 2 min later, unload 5 min after that; common practice, no source."""
    usual, _ = read_site("northquay")
    assert (usual.attendance.check_in_s, usual.attendance.alarm_after_s, usual.attendance.unload_after_s) == (
        300.0,
        120.0,
        420.0,
    )
    text = changed("site", "northquay", "unattended: allowed ", "check_in_alarm: 30 s\n  check_in_unload: 1 min ")
    site, _ = read_site("x", shelf(SourceFile.of("site", "x", "x.yaml", text)))
    assert (site.attendance.alarm_after_s, site.attendance.unload_after_s) == (30.0, 90.0)
