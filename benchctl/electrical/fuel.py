"""Diesel consumption for planning, from the generic table of the trade. A maker's figures always rule."""

from bisect import bisect_right

from benchctl.electrical.checks import not_negative, positive

SHARES = (0.25, 0.50, 0.75, 1.00)

# Set rating in kW -> L/h at the shares above.
LITRES_PER_HOUR: dict[float, tuple[float, float, float, float]] = {
    20.0: (2.3, 3.4, 4.9, 6.1),
    100.0: (9.8, 15.5, 22.0, 28.0),
    250.0: (21.6, 36.0, 51.5, 68.1),
    500.0: (41.6, 70.0, 99.9, 135.1),
    1000.0: (81.8, 137.8, 197.2, 269.1),
    2000.0: (162.0, 273.3, 391.7, 537.1),
}


def litres_per_hour(rated_kw: float, power_kw: float) -> float:
    """Diesel in L/h of a set at a load: linear between the table's loads and between its ratings.

    Below a quarter and above full load the nearest stretch of the table is prolonged, so an idling set burns
    some fuel. Ratings outside 20 to 2000 kW take the nearest row in proportion. Raises ValueError for a load
    above 125 % of rated.
    """
    positive(rated_kw=rated_kw)
    not_negative(power_kw=power_kw)
    share = power_kw / rated_kw
    if share > 1.25:
        raise ValueError(f"load is {100.0 * share:.1f} % of rated; the table says nothing above 125 %")
    ratings = sorted(LITRES_PER_HOUR)
    nearest = min(max(rated_kw, ratings[0]), ratings[-1])
    i = min(max(bisect_right(ratings, nearest) - 1, 0), len(ratings) - 2)
    small, large = (_at_share(LITRES_PER_HOUR[kw], share) for kw in ratings[i : i + 2])
    between = (nearest - ratings[i]) / (ratings[i + 1] - ratings[i])
    return (small + (large - small) * between) * rated_kw / nearest


def litres_per_kwh(rated_kw: float, power_kw: float) -> float:
    """Specific consumption in L/kWh at a load above 0."""
    positive(power_kw=power_kw)
    return litres_per_hour(rated_kw, power_kw) / power_kw


def _at_share(row: tuple[float, float, float, float], share: float) -> float:
    i = min(max(bisect_right(SHARES, share) - 1, 0), len(SHARES) - 2)
    return row[i] + (row[i + 1] - row[i]) * (share - SHARES[i]) / (SHARES[i + 1] - SHARES[i])
