"""The sentences of the reading sheet in English."""

SHEET: dict[str, str] = {
    "sheet": "Reading sheet",
    "sheet fuel": "Fuel",
    "sheet fuel text": "The program needs about {needed} by a generic table of diesel sets, and as much again for "
    "warming up and what goes wrong is prudent. In the tank before the start: ________ {unit}. Enough for the test: "
    "yes / no.",
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
