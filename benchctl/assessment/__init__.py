"""Record → verdicts with their working. Pure: what has happened comes as a `Trail`, rules as `core/ruleset.py`."""
