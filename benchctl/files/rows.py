"""The rows of a register map as they stand in a profile's file, and the tables to read them by."""

import re
from typing import Annotated, Literal

from pydantic import Field

from benchctl.core.registers import Kind, Order, Space
from benchctl.files.check import Duration, Positive, Strict, Text

Kinds = Literal["bit", "uint16", "int16", "uint32", "int32", "uint64", "int64", "float32", "float64", "text"]
Orders = Literal["ABCD", "CDAB", "BADC", "DCBA"]
Finite = Annotated[float, Field(ge=-1e12, le=1e12)]
Pattern = Annotated[int, Field(ge=0, lt=1 << 64)]

# How many of the core's units one of the file's units is.
UNITS: dict[tuple[str, str], float] = {
    ("W", "kW"): 0.001,
    ("MW", "kW"): 1000.0,
    ("var", "kvar"): 0.001,
    ("VA", "kVA"): 0.001,
    ("Wh", "kWh"): 0.001,
    ("MWh", "kWh"): 1000.0,
    ("kV", "V"): 1000.0,
    ("mV", "V"): 0.001,
    ("mA", "A"): 0.001,
    ("kA", "A"): 1000.0,
    ("mHz", "Hz"): 0.001,
    ("ms", "s"): 0.001,
    ("min", "s"): 60.0,
    ("bar", "kPa"): 100.0,
    ("Pa", "kPa"): 0.001,
    ("%", ""): 0.01,
}
# Modicon numbers: leading digit of a five- or six-figure number → space.
MODICON = {"0": Space.COIL, "1": Space.DISCRETE, "3": Space.INPUT, "4": Space.HOLDING}
PLACE = re.compile(r"(coil|discrete|holding|input) ([0-9]{1,5})(?:\.([0-9]{1,2}))?")
FIGURES = re.compile(r"([0134])([0-9]{4,5})(?:\.([0-9]{1,2}))?")
SPAN = re.compile(r"(coil|discrete|holding|input) ([0-9]{1,5})-([0-9]{1,5})")


class Link(Strict):
    """The manners of a device's Modbus side."""

    addresses: Literal["zero based", "one based", "modicon 40001"]
    order: Orders = "ABCD"
    missing: dict[Kinds, list[Pattern]] = Field(default_factory=dict)
    readable: list[Text] = Field(default_factory=list)
    max_registers: Annotated[int, Field(ge=4, le=125)] = 125
    max_bits: Annotated[int, Field(ge=1, le=2000)] = 2000
    gap: Duration = 0.0
    turnaround: Duration = 0.02
    timeout: Duration | None = None


class Row(Strict):
    """One point. `at`: `holding 12`, `input 30.4` (bit 4), or a Modicon number such as 40013."""

    at: Text
    type: Kinds | None = None
    order: Orders | None = None
    length: Annotated[int, Field(ge=1, le=60)] | None = None
    inverted: bool = False
    unit: Text | None = None
    scale: Positive = 1.0
    negative: bool = False  # the device counts the other way round
    offset: Finite = 0.0
    scale_from: Text | None = None
    range: Annotated[list[Finite], Field(min_length=2, max_length=2)] | None = None
    missing: list[Pattern] | None = None
    expect: Text | None = None
    once: bool = False
    write: Literal[5, 6, 15, 16] | None = None
    nonvolatile: bool = False


def wire_words(value: int, kind: Kind, order: Order) -> tuple[int, ...]:
    """A bit pattern as the words on the wire; a single register has no order (Modbus: high byte first)."""
    count = kind.words
    words = [value >> 16 * (count - 1 - i) & 0xFFFF for i in range(count)]
    if order in (Order.CDAB, Order.DCBA):
        words.reverse()
    if count > 1 and order in (Order.BADC, Order.DCBA):
        words = [(w & 0xFF) << 8 | w >> 8 for w in words]
    return tuple(words)
