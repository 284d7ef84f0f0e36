"""Settings of a comparison."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class CompareSettings:
    """When two sets of strides may be compared, and how.

    least_strides   strides with a value, each side; our own definition
    most_speed_gap  1, forward speeds of both sides differ by no more than this share; our own definition
    most_incline_gap_deg  deg, inclines that differ by more are told; common practice, no source
    alpha           1, chance of calling equal things different, over all lines of a contrast together; common practice
    draws           resamples; the spread of their means is then known to 2 % (derived: 1 / sqrt(2 x draws))
    """

    least_strides: int = 8
    most_speed_gap: float = 0.05
    most_incline_gap_deg: float = 0.5
    alpha: float = 0.05
    draws: int = 2000
