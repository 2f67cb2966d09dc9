"""How a unit is connected to the source: which volts its elements see."""

import math

from benchctl.core.profile import Profile
from benchctl.core.site import Nameplate, Wiring


def volts_share(plate: Nameplate, profile: Profile) -> float:
    """Volts that a unit's rated volts are compared with, as a share of the volts in the sense of the nameplate.

    A single-phase unit on a source of several phases sees line-to-neutral volts when its stages lie between a line and
    neutral, and line-to-line volts when they lie between lines.
    """
    if profile.phases != 1 or len(plate.wiring.phases) == 1:
        return 1.0
    if profile.stages and all(len(s.across) == 2 for s in profile.stages):
        return 1.0
    return 0.5 if plate.wiring is Wiring.SINGLE_PHASE_3W else 1.0 / math.sqrt(3.0)
