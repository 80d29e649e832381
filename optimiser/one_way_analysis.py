"""One-way analysis of variance: the spread within groups and between them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

__all__ = ["OneWay", "one_way", "pooled_interval"]


@dataclass(frozen=True)
class OneWay:
    """A one-way analysis of variance.

    Parameters
    ----------
    between, within : float
        Sums of squares between and within the groups.
    between_degrees, within_degrees : int
        Their degrees of freedom.
    group_size : float
        Size of a group in a balanced design; for an unbalanced one the size that makes the
        expected mean square right (Searle, Casella & McCulloch 1992, section 3.6, from memory).
    """

    between: float
    within: float
    between_degrees: int
    within_degrees: int
    group_size: float

    @property
    def residual_sd(self) -> float:
        """Standard deviation within the groups; NaN without a degree of freedom."""
        return float(np.sqrt(self.within_square))

    @property
    def within_square(self) -> float:
        """Mean square within the groups; NaN without a degree of freedom."""
        return self.within / self.within_degrees if self.within_degrees else float("nan")

    @property
    def between_square(self) -> float:
        """Mean square between the groups; NaN for one group."""
        return self.between / self.between_degrees if self.between_degrees else float("nan")

    @property
    def f(self) -> float:
        """Ratio of the mean squares; infinite where nothing varies within the groups."""
        with np.errstate(divide="ignore", invalid="ignore"):
            return float(np.float64(self.between_square) / np.float64(self.within_square))

    @property
    def p(self) -> float:
        """Probability of so large a ratio if the groups' means were equal."""
        return float(special.fdtrc(self.between_degrees, self.within_degrees, self.f))

    @property
    def r_squared(self) -> float:
        """Share of the sum of squares that lies between the groups."""
        total = self.between + self.within
        return self.between / total if total > 0 else float("nan")

    @property
    def group_variance(self) -> float:
        """Variance of the groups' effects by the mean squares; may come out negative."""
        return (self.between_square - self.within_square) / self.group_size


def one_way(values: npt.ArrayLike, groups: npt.ArrayLike) -> OneWay:
    """Split the spread of values into that between groups and that within them.

    Parameters
    ----------
    values : array_like of shape (n,)
        Finite numbers.
    groups : array_like of shape (n,)
        Label of each value's group.

    Returns
    -------
    OneWay

    Raises
    ------
    ValueError
        For no value, lists of unequal length, or a value that is not finite.

    Notes
    -----
    Two passes over differences from the first value, which double precision forms exactly when
    the values share their leading digits; sums of squares of the raw values would lose them
    (the NIST reference sets SmLs04 to SmLs09 are made to show it).
    """
    numbers = np.asarray(values, dtype=np.float64)
    labels = np.asarray(groups)
    if numbers.ndim != 1 or numbers.shape != labels.shape or not len(numbers):
        raise ValueError(f"one label a value is needed, got {numbers.shape} and {labels.shape}")
    if not np.all(np.isfinite(numbers)):
        raise ValueError("every value must be a finite number")
    place = np.unique(labels, return_inverse=True)[1]
    sizes = np.bincount(place).astype(np.float64)
    shifted = numbers - numbers[0]
    means = np.bincount(place, weights=shifted) / sizes
    # The second pass takes off what rounding has left in the means.
    residual = shifted - means[place]
    rest = np.bincount(place, weights=residual) / sizes
    means, residual = means + rest, residual - rest[place]
    grand = float(np.dot(sizes, means) / len(numbers))
    spare = float(len(numbers) - np.dot(sizes, sizes) / len(numbers))
    return OneWay(
        between=float(np.dot(sizes, (means - grand) ** 2)),
        within=float(np.dot(residual, residual)),
        between_degrees=len(sizes) - 1,
        within_degrees=len(numbers) - len(sizes),
        group_size=spare / (len(sizes) - 1) if len(sizes) > 1 else float(len(numbers)),
    )


def pooled_interval(sd: float, degrees: float, level: float = 0.9) -> tuple[float, float]:
    """Give the interval of a standard deviation pooled from normal values.

    Parameters
    ----------
    sd : float
        The pooled standard deviation.
    degrees : float
        Its degrees of freedom, above 0.
    level : float
        Coverage; equal tails of the chi-square distribution.
    """
    tails = np.array([0.5 * (1.0 + level), 0.5 * (1.0 - level)])
    quantiles = 2.0 * special.gammaincinv(0.5 * degrees, tails)
    low, high = sd * np.sqrt(degrees / quantiles)
    return float(low), float(high)
