"""benchctl plans, rehearses, runs and records load tests of standby power sources."""

__version__ = "0.1.0"
