"""The values over time that a console remembers: bounded, the older the coarser, missing ones as gaps."""

from dataclasses import dataclass


@dataclass(slots=True)
class Traces:
    """Replaced by the trend's author."""
