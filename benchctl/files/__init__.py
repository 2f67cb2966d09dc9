"""The files that people write: sites, profiles of units and instruments, programs, scenarios, rule sets, mappings,
brokers.

YAML in, nouns out. Every reader raises FileFault with all flaws of a file, each with its place. This module
itself is quick to import: the models are loaded when the first file is read.
"""

from typing import TYPE_CHECKING, Any

from benchctl.files.fault import FileFault, Flaw
from benchctl.files.shelf import KINDS, DiskShelf, RecordedShelf, Shelf, SourceFile, names

if TYPE_CHECKING:
    from benchctl.core.profile import Profile
    from benchctl.core.program import Program
    from benchctl.core.ruleset import RuleSet
    from benchctl.core.scenario import Scenario
    from benchctl.core.site import Site
    from benchctl.files.broker import Broker
    from benchctl.files.instrument import InstrumentProfile
    from benchctl.files.mapping import Mapping

__all__ = [
    "KINDS",
    "DiskShelf",
    "FileFault",
    "Flaw",
    "RecordedShelf",
    "Shelf",
    "SourceFile",
    "names",
    "read_broker",
    "read_instrument",
    "read_mapping",
    "read_profile",
    "read_program",
    "read_rule_set",
    "read_scenario",
    "read_site",
    "schema",
]

DISK: Shelf = DiskShelf()


def read_site(ref: str, shelf: Shelf = DISK) -> "tuple[Site, tuple[SourceFile, ...]]":
    """A site and every file it was read from: its own first, then the profiles. Raises FileFault."""
    from benchctl.files.check import Report
    from benchctl.files.site import SiteReader

    source = shelf.open("site", ref)
    reader = SiteReader(Report(source), shelf)
    site = reader.read()
    return site, (source, *reader.used.values())


def read_profile(ref: str, shelf: Shelf = DISK) -> "tuple[Profile, SourceFile]":
    """A unit's profile. Raises FileFault."""
    from benchctl.files.check import Report
    from benchctl.files.profile import profile_of

    source = shelf.open("unit", ref)
    return profile_of(Report(source)), source


def read_instrument(ref: str, shelf: Shelf = DISK) -> "tuple[InstrumentProfile, SourceFile]":
    """An instrument's profile. Raises FileFault."""
    from benchctl.files.check import Report
    from benchctl.files.instrument import instrument_profile_of

    source = shelf.open("instrument", ref)
    return instrument_profile_of(Report(source)), source


def read_mapping(ref: str, shelf: Shelf = DISK) -> "tuple[Mapping, SourceFile]":
    """What the columns of a recording mean. Raises FileFault."""
    from benchctl.files.check import Report
    from benchctl.files.mapping import mapping_of

    source = shelf.open("mapping", ref)
    return mapping_of(Report(source)), source


def read_broker(ref: str, shelf: Shelf = DISK) -> "Broker":
    """A broker, by its file or by its URL. Raises FileFault, which tells nothing of what a secret might be in."""
    from benchctl.files.broker import QuietReport, broker_at, broker_of

    return broker_at(ref) if "://" in ref else broker_of(QuietReport(shelf.open("broker", ref)))


def read_program(ref: str, shelf: Shelf = DISK) -> "tuple[Program, SourceFile]":
    """A program. Raises FileFault."""
    from benchctl.files.check import Report
    from benchctl.files.program import program_of

    source = shelf.open("program", ref)
    return program_of(Report(source)), source


def read_rule_set(ref: str, shelf: Shelf = DISK) -> "tuple[RuleSet, SourceFile]":
    """A rule set. Raises FileFault."""
    from benchctl.files.check import Report
    from benchctl.files.ruleset import rule_set_of

    source = shelf.open("ruleset", ref)
    return rule_set_of(Report(source)), source


def read_scenario(ref: str, site: "Site", shelf: Shelf = DISK) -> "tuple[Scenario, SourceFile]":
    """A scenario whose names are those of the site. Raises FileFault."""
    from benchctl.files.check import Report
    from benchctl.files.scenario import scenario_of

    source = shelf.open("scenario", ref)
    return scenario_of(Report(source), site), source


def schema(kind: str) -> dict[str, Any]:
    """JSON Schema (Draft 2020-12) of a kind of file. Raises KeyError for an unknown kind."""
    from benchctl.files.schemas import schema_of

    return schema_of(kind)
