"""Every sentence of the report, under a key: the whole of what a translation has to give.

`{name}` stands for a figure or a name. A translation is a table of the same keys; `say` takes it from there.
"""

ENGLISH: dict[str, str] = {
    "language": "en",
    "title": "Load test report",
    "running": "{run}",
    "page": "page {{n}} of {{total}}",
    "foot": "Acceptance is the authority's. This report says shown, not met or not demonstrated. SHA-256 {hash}…",
    "banner rehearsal": "REHEARSAL. Units and source were simulated. Nothing here proves anything of a real source.",
    "banner altered": "THE RECORD WAS ALTERED after it was written: see “The record and how to check it”.",
    "banner open": "The record was not closed: the run is {condition}. What follows is as far as it goes.",
    # front
    "summary": "The test",
    "tested": "What was tested",
    "where": "Where",
    "when": "When",
    "by whom": "By whom",
    "with units": "Load bank units",
    "with instruments": "Instruments",
    "procedure": "Procedure",
    "ended": "How it ended",
    "record": "Record",
    "record line": "{file}, SHA-256 {hash}",
    "when text": "{begin} to {end}, {length} in all; times carry the offset {offset} from UTC",
    "nobody": "nobody is named in the record",
    "by hand": "load by hand, without a program",
    "source text": "{name}: {kind}, {kw} kW, {kva} kVA, power factor {pf}, {volts} V, {hertz} Hz{cls}{serial}",
    "serial": ", serial number {serial}",
    "no serial": ", serial number not stated",
    "units text": "{count}, {rated} kW rated in all, resistive",
    "one unit": "1 unit",
    "many units": "{count} units",
    "no instruments": "none: the units' own meters only",
    "verdicts": "Verdicts",
    "rule set": "rule set",
    "edition": "edition",
    "verdict": "verdict",
    "decided by": "decided by",
    "counts": "{shown} shown, {not_met} not met, {not_demonstrated} not demonstrated",
    "all shown": "every rule of it",
    "no verdicts": "No rule set was judged. What was measured is told, and nothing is concluded from it.",
    "adopted": "{edition}; adopted at the site: {adopted}",
    "adopted not said": "{edition}; which edition is adopted at the site is not said",
    "missing": "What is missing or expired",
    "nothing missing": "Nothing: every paper, reading and calibration that was looked for is there.",
    "not complete": "This report is not complete. {count}",
    "one missing": "One thing is missing or expired:",
    "many missing": "{count} things are missing or expired:",
    "lacks all": "not in the record: {what}",
    "readings missed": "{count} of the readings that the program asks for were not taken",
    "no readings asked": "the program asks nobody for readings at the engine: oil pressure, coolant, battery, fuel",
    "no calibration": "{name}: when its calibration is due is not stated",
    "expired": "{name}: calibration expired on {due}, before the test",
    "no class": "{name}: accuracy class is not stated",
    "no device serial": "{names}: serial number not known",
    "holes": "the source was not observed during {count} stretches of time, {length} in all: see “Events”",
    "hole": "the source was not observed from {begin} to {end}",
    "not sealed": "the record is not sealed",
    # place
    "source serial": "Serial number",
    "place": "Source, place and instruments",
    "nameplate": "Nameplate",
    "rated power": "Rated power",
    "rated volts": "Rated volts, wiring",
    "rated hertz": "Rated frequency",
    "rated amps": "Rated current",
    "rating class": "Rating class (ISO 8528-1)",
    "isochronous": "isochronous",
    "droop": "droop {percent} %",
    "ambient": "Ambient air",
    "ambient text": "{ambient} by the site file; inlet and readings below",
    "altitude": "Altitude",
    "not stated": "not stated",
    "units": "Load bank units",
    "unit": "unit",
    "profile": "profile",
    "rated kW": "rated kW",
    "at volts": "at V",
    "position": "place",
    "serial number": "serial number",
    "instruments": "Instruments, and the terminals at which each measured",
    "instrument": "instrument",
    "measured at": "measured at",
    "transformers": "transformers",
    "class": "class",
    "calibration due": "calibration due",
    "refresh": "new value each",
    "terminals source": "the source's terminals: all that it carries",
    "terminals site load": "the feeder of the site's own load",
    "terminals chain": "the common supply of the load banks",
    "terminals panel": "the set's own panel",
    "terminals note": "Volts, amps, kW and hertz of this report are those of {name}, {place}.",
    "terminals none": "No meter of the source was read: its kW are reckoned from the units, volts and hertz from "
    "{name}.",
    # course
    "course": "Plan against what was done",
    "no plan": "The load was set by hand; there was no plan.",
    "segment": "segment",
    "what": "what",
    "planned": "planned",
    "done": "done",
    "from": "from",
    "target": "target kW",
    "least": "least kW",
    "mean": "mean kW",
    "most": "most kW",
    "of nameplate": "least %",
    "not done": "not done",
    "plan note": "kW of the source over each segment as it ran, every scan; least % in percent of the nameplate's "
    "{kw} kW. "
    "Times since the first scan at {begin}.",
    "graph": "The run as a graph",
    "graph caption": "Numbers above the graph are segments of the program. Each column of the picture shows the "
    "least and "
    "the largest sample in it; a hole in a line is time in which the value was not known.",
    "graph marks": "Dotted lines: {marks}.",
    "graph axis": "h:mm:ss since {begin}",
    "graph alt": "Graph over {length}: kW of the source from {kw_low} to {kw_high}, volts {v_low} to {v_high}, hertz "
    "{hz_low} to {hz_high}.",
    "power": "power",
    "volts": "volts",
    "hertz": "frequency",
    "amps": "current",
    "temperatures": "temperature",
    "source": "source",
    "asked": "asked",
    "exhaust": "hottest exhaust of the units",
    "exhaust short": "exhaust",
    "coolant": "coolant",
    "readings": "Readings",
    "measured": "Measured at the interval",
    "readings caption": "Each {interval} of a hold, and at its end: the last sample at or before the time. Volts "
    "are the "
    "mean of the phases that the meter tells; exhaust is the hottest of the units.",
    "no samples": "There is no sample to be shown.",
    "typed": "Readings that a person took at the set",
    "typed caption": "As typed in; the time is when it was read. A corrected value stands beside what was first "
    "written.",
    "no typed": "Nobody took readings at the set.",
    "number": "no.",
    "time": "time",
    "elapsed": "elapsed",
    "read by": "read by",
    "corrected": "corrected later",
    "transients": "Transients",
    "no transients": "No sudden change of load was ordered.",
    "transients note": "Volts and hertz are those of a meter with a new value each {refresh}: what is quicker is "
    "not seen, "
    "and a deviation may have been larger than told. The deviation is in percent of rated.",
    "change": "change",
    "kw from to": "kW from, to",
    "hertz extreme": "hertz, extreme",
    "volts extreme": "volts, extreme",
    "trace caption": "{label}: {from_kw} to {to_kw} kW at {at}",
    "trace axis": "seconds since the change was ordered",
    "trace alt": "Hertz and volts from {before} s before to {after} s after a change from {from_kw} to {to_kw} kW.",
    "more traces": "{count} more changes have no trace here; their samples are in the embedded figures.",
    # events
    "events": "Events",
    "alarms": "Alarms and trips in the order in which they came",
    "alarms note": "Equal numbers were first seen in one scan: which came first is not known. “First out” is what "
    "was seen "
    "in the scan of the first trip.",
    "tripped": "TRIP: {text}",
    "no alarms": "No alarm.",
    "first out": "first out",
    "order": "order",
    "lasted": "cleared after",
    "stood": "stood at the end",
    "overrides": "Overrides",
    "no overrides": "No override was made.",
    "who": "who",
    "why": "why",
    "interruptions": "Time that was not observed",
    "no interruptions": "No interruption: every scan is in the record, and the source's meter told in each.",
    "remarks": "Remarks and steps recorded by people",
    "checks": "Check load and stage check",
    "no checks": "No check was recorded.",
    "cool-down": "Cool-down",
    "cool-down text": "All load was off at {off} ({off_clock}); the units were cool at {cool} ({cool_clock}), "
    "{length} later.",
    "cool-down open": "All load was off at {off} ({off_clock}). The record does not show the end of the cool-down.",
    "cool-down dropped": "Load was ordered off at {off} ({off_clock}) by a trip or a drop. The record has no word "
    "of its own "
    "for the moment at which all of it was off: see the graph.",
    "cool-down none": "The record does not show when the load came off.",
    "source rest": "The source ran on without load (below {percent} % of nameplate) for {length} until the record's "
    "end.",
    "source rest none": "The record does not show the source running without load after the test.",
    # energy
    "energy": "Energy and fuel",
    "figure": "figure",
    "value": "value",
    "working": "working",
    "bounds": "(between {low} and {high})",
    "no energy": "Nothing is known of the source's kW.",
    # proof
    "proof": "Verdicts with their working",
    "proof note": "Each verdict can be worked out again from the embedded figures, which hold every sample. A limit "
    "that is "
    "not read in its text says so here.",
    "judged text": "{document}, edition {edition}: {outcome}",
    "between": "from {begin} ({begin_clock}) to {end} ({end_clock})",
    "between one": "at {begin} ({begin_clock})",
    "clause": "clause {clause}",
    "limits": "Limits used, and where they are from",
    "limit": "criterion",
    "origin": "clause",
    "mark": "mark",
    "uncertain": "{count} of {total} limits are not read in their text. Who accepts the test should compare them "
    "with the "
    "edition that holds at the site.",
    "site limits": "Limits of the site in force during the run",
    "site limits note": "These kept the source from harm during the run; no verdict rests on them.",
    "reason": "reason",
    "limit upper_percent": "largest load, of nameplate",
    "limit volts_trip_percent": "volts off rated: load off",
    "limit volts_low_percent": "volts below: load off at once",
    "limit hertz_low_percent": "hertz below: load off",
    "limit hertz_stall_percent": "hertz below: stall, load off at once",
    "limit over_power_percent": "load above: load off",
    "limit block_volts_percent": "volts dip within a block's window",
    "limit block_hertz_percent": "hertz dip within a block's window",
    "limit hold_band_percent": "band of a hold",
    "limit recheck_percent": "delivered against stages closed",
    "limit source_cooldown_s": "source at no load after the test",
    # closing
    "not shown": "What this test does not show",
    "unity": "The load was resistive, at a power factor near 1. At most {kw} kW were carried, with {amps} A "
    "({percent} % of "
    "the rated {rated} A). The alternator's rated current belongs to a power factor of {pf}: it was not proven, and "
    "neither "
    "were the dip of volts and their regulation at that power factor. Deviations of volts after a block of "
    "resistive load "
    "are smaller than after one of motors.",
    "unity no amps": "The load was resistive, at a power factor near 1: neither the rated current of an alternator "
    "of power "
    "factor {pf} was proven, nor the dip of its volts and their regulation at that power factor.",
    "load only": "A load test alone shows neither the cold start nor the loss of normal power, the transfer of the "
    "load, its "
    "return, nor the protections of the set. Where a person recorded such a step it stands under “Events”.",
    "quick": "What lasts less than {refresh} is not seen by a meter that tells a new value each {refresh}.",
    "fans": "The fans of {names} hang on the source and are part of what it carried.",
    "site load": "The site's own load was on the source during the test: it is part of what the source carried.",
    "simulated": "Nothing of this is a measurement: the run was a rehearsal.",
    "cautions": "Cautions and disclaimers",
    "authority": "Acceptance is the authority's. “Shown”, “not met” and “not demonstrated” are what the record "
    "gives by the "
    "stated rule; they are no approval.",
    "standards": "Standards are sold documents. Figures that are marked “quoted elsewhere” or “from memory” were "
    "not read in "
    "them, and must be compared with the text before anything is concluded.",
    "safety": "The instrument chain is no safety device. Figures are as good as the instruments: their class and "
    "calibration "
    "stand on page 1.",
    "fuel caution": "Fuel by the generic table is an estimate. The maker's figures rule.",
    "the record": "The record and how to check it",
    "record text": "This report is drawn from one file, the record of the run, and from nothing else.",
    "record file": "File",
    "record hash": "SHA-256",
    "record sealed": "Sealed",
    "record tool": "Written by",
    "record files": "Made from",
    "record state": "As found",
    "intact": "unaltered: its seal, its chains of hashes and its numbering hold",
    "unsealed": "not sealed; its chains of hashes hold",
    "altered": "ALTERED: {what}",
    "how to check": "To check it, work out the hash of the file and compare it, digit by digit, with the one "
    "printed here and "
    "signed below. Any computer can: ",
    "how to check more": "The verb verify of benchctl checks the seal, every row and the data that are embedded in "
    "this report. A hash "
    "that stands only in a file proves nothing against somebody who can change that file: trust comes from the hash "
    "that is "
    "printed in the signed report.",
    "embedded": "Embedded in the PDF: {names}. Every sample lies beside it as CSV.",
    "signatures": "Signatures",
    "sign note": "Who signs has compared the hash above with that of the record that is kept.",
    "operator": "Operator",
    "witness": "Witness",
    "authority role": "Authority having jurisdiction",
    "sign name": "name, company",
    "sign date": "date and place",
    "sign line": "signature",
    # sheet
    "sheet": "Reading sheet",
    "sheet fuel": "Fuel",
    "sheet fuel text": "The program needs about {needed} by a generic table of diesel sets, and as much again for "
    "warming up "
    "and what goes wrong is prudent. In the tank before the start: ________ {unit}. Enough for the test: yes / no.",
    "sheet no fuel": "No estimate of fuel: the table says nothing of this source.",
    "sheet read": "Read at the engine",
    "sheet none": "The program asks for no readings. Rows are for the times at which the load changes.",
    "sheet date": "Date",
    "sheet due": "due, program time",
    "sheet true time": "true time",
    "sheet people": "People",
    "sheet before": "Before load",
    "sheet note": "Write the true time of each reading. Never rub out: strike through, and write the right figure "
    "beside it.",
}


def say(key: str, **values: object) -> str:
    """A sentence with its figures. Raises KeyError for a key that is not in the table."""
    text = ENGLISH[key]
    return text.format(**values) if values or "{" in text else text
