"""Speed, frequency and how fast frequency falls when load is thrown on."""

from benchctl.electrical.checks import finite, not_negative, positive


def rpm(hertz: float, poles: int) -> float:
    """Synchronous speed in revolutions a minute: n = 120 f / p. poles: the number of poles, even."""
    not_negative(hertz=hertz)
    return 120.0 * hertz / _even(poles)


def hertz(speed_rpm: float, poles: int) -> float:
    """Frequency in Hz at a speed: f = n p / 120."""
    not_negative(speed_rpm=speed_rpm)
    return speed_rpm * _even(poles) / 120.0


def frequency_slope_hz_s(step_share: float, rated_hertz: float, inertia_s: float) -> float:
    """First rate of change of frequency after a load step, in Hz/s, without its sign: ΔP f / (2 H).

    step_share: load step as a share of rated power, upward or downward; inertia_s: H, the rotating masses'
    energy at rated speed over rated power.
    """
    finite(step_share=step_share)
    positive(rated_hertz=rated_hertz, inertia_s=inertia_s)
    return abs(step_share) * rated_hertz / (2.0 * inertia_s)


def _even(poles: int) -> int:
    if poles < 2 or poles % 2:
        raise ValueError(f"poles is {poles}; an even number from 2 up is expected")
    return poles
