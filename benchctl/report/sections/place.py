"""Nameplate, ambient, units and instruments, and at which terminals each measured."""

from benchctl.report.dossier import Dossier
from benchctl.report.measures import MISSING, short
from benchctl.report.parts import Block, Column, Pairs, Para, Section, Table
from benchctl.report.words import say


def place(dossier: Dossier) -> Section:
    """The section."""
    return Section(
        say("place"),
        (
            Pairs(_nameplate(dossier)),
            _units(dossier),
            *_instruments(dossier),
        ),
    )


def _nameplate(dossier: Dossier) -> tuple[tuple[str, str], ...]:
    site, plate, say_in = dossier.run.site, dossier.run.site.nameplate, dossier.measures
    power = f"{short(plate.power_kw)} kW, {short(plate.apparent_kva)} kVA, power factor {short(plate.power_factor)}"
    governor = say("isochronous") if plate.isochronous else say("droop", percent=short(plate.droop_percent))
    ambient = (
        say("ambient text", ambient=say_in.say(site.ambient_c, "°C", 0))
        if site.ambient_c is not None
        else say("not stated")
    )
    return (
        (say("rated power"), power),
        *_derated(dossier),
        (say("rated volts"), f"{short(plate.volts)} V, {plate.wiring.value}"),
        (say("rated hertz"), f"{short(plate.hertz)} Hz; {governor}"),
        (say("rated amps"), f"{plate.rated_amps:.0f} A"),
        (say("rating class"), plate.rating_class or say("not stated")),
        (say("source serial"), plate.serial or say("not stated")),
        (say("ambient"), ambient),
        (say("altitude"), say_in.say(site.altitude_m, "m", 0)),
    )  # fmt: skip


def _derated(dossier: Dossier) -> tuple[tuple[str, str], ...]:
    """What altitude and heat leave of the nameplate's kW, where the site file states it."""
    plate = dossier.run.site.nameplate
    if plate.derated_kw is None:
        return ()
    share = short(100.0 * plate.derated_kw / plate.power_kw, 4)
    text = say("derated text", kw=short(plate.derated_kw), percent=share, why=plate.derated_why)
    return ((say("derated power"), text),)


def _units(dossier: Dossier) -> Table:
    serials = dossier.run.serials
    columns = (
        Column(say("unit")),
        Column(say("profile"), share=2.0),
        Column(say("rated kW"), "right"),
        Column(say("at volts"), "right"),
        Column(say("position"), share=1.0),
        Column(say("serial number"), share=1.0),
    )
    rows = tuple(
        (
            unit.name,
            unit.profile.title or unit.profile.name,
            short(unit.profile.rated_kw),
            short(unit.profile.rated_v),
            unit.position or MISSING,
            unit.serial or serials.get(unit.name, "") or MISSING,
        )
        for unit in dossier.run.site.units
    )
    return Table(columns, rows, say("units"))


def _instruments(dossier: Dossier) -> tuple[Block, ...]:
    site, serials = dossier.run.site, dossier.run.serials
    meter = dossier.source_meter
    if meter is not None and meter.place == "source":
        note = say("terminals note", name=meter.name, place=say(f"terminals {meter.place}"))
    else:
        note = say("terminals none", name=meter.name if meter else say("not stated"))
    columns = (
        Column(say("instrument")),
        Column(say("measured at"), share=2.0),
        Column(say("transformers"), "right"),
        Column(say("class")),
        Column(say("serial number")),
        Column(say("calibration due")),
        Column(say("refresh"), "right"),
    )
    rows = tuple(
        (
            i.name,
            say(f"terminals {i.place}"),
            f"{short(i.ct_primary_a)} / {short(i.ct_secondary_a)} A" if i.ct_primary_a else MISSING,
            i.accuracy_class or MISSING,
            i.serial or serials.get(i.name, "") or MISSING,
            i.calibration_due or MISSING,
            f"{short(i.refresh_s)} s",
        )
        for i in site.instruments
    )
    return (*((Table(columns, rows, say("instruments")),) if rows else ()), Para(note, "note"))
