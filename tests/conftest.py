"""How Hypothesis looks for examples: at random at a desk, the same ones each time in CI.

What a desk finds becomes a test of its own; a run of CI must not depend on luck.
"""

import os

from hypothesis import HealthCheck, settings

settings.register_profile("desk", deadline=None)
settings.register_profile("ci", deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("ci" if os.environ.get("CI") == "true" else "desk")
