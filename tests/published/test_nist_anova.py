"""One-way analysis of variance: the NIST Statistical Reference Datasets.

Data and certified values are read from the files that ship with scipy. In the sets with many
constant leading digits the data themselves are rounded in double precision: 7 digits cost about
1e-9 of F, 13 digits about 1e-4, by any algorithm.
"""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
import scipy.stats

from optimiser.one_way_analysis import one_way

FOLDER = Path(scipy.stats.__file__).parent / "tests" / "data" / "nist_anova"
# Set: (relative tolerance, groups, values a group).
SETS = {
    "SiRstv": (1e-11, 5, 5),
    "AtmWtAg": (1e-9, 2, 24),
    "SmLs01": (1e-12, 9, 21),
    "SmLs02": (1e-12, 9, 201),
    "SmLs03": (1e-12, 9, 2001),
    "SmLs04": (1e-9, 9, 21),
    "SmLs05": (1e-9, 9, 201),
    "SmLs06": (1e-9, 9, 2001),
    "SmLs07": (1e-4, 9, 21),
    "SmLs08": (1e-4, 9, 201),
    "SmLs09": (1e-4, 9, 2001),
}


def read(name: str) -> tuple[np.ndarray, np.ndarray, dict[str, float]]:
    """Values, groups and certified results of one file."""
    lines = (FOLDER / f"{name}.dat").read_text(encoding="ascii").splitlines()
    data = np.array(
        [[float(cell) for cell in line.split()] for line in lines[60:] if line.split()]
    )
    head = "\n".join(lines[:60])
    number = r"([-+]?\d*\.?\d+(?:E[-+]?\d+)?)"
    between = re.search(rf"Between \w+\s+(\d+)\s+{number}\s+{number}\s+{number}", head)
    within = re.search(rf"Within \w+\s+(\d+)\s+{number}\s+{number}", head)
    assert between is not None
    assert within is not None
    certified = {
        "between_degrees": float(between[1]),
        "between": float(between[2]),
        "f": float(between[4]),
        "within_degrees": float(within[1]),
        "within": float(within[2]),
        "r_squared": float(re.search(rf"Certified R-Squared\s+{number}", head)[1]),
        "residual_sd": float(re.search(rf"Standard Deviation\s+{number}", head)[1]),
    }
    return data[:, 1], data[:, 0], certified


@pytest.mark.parametrize("name", SETS)
def test_certified_values(name):
    tolerance, groups, size = SETS[name]
    values, labels, certified = read(name)
    assert len(values) == groups * size
    found = one_way(values, labels)
    assert found.between_degrees == certified["between_degrees"] == groups - 1
    assert found.within_degrees == certified["within_degrees"]
    for quantity in ("f", "r_squared", "residual_sd"):
        assert getattr(found, quantity) == pytest.approx(certified[quantity], rel=tolerance)
    # The rounded data move both sums of squares the same way; their ratio suffers less.
    for quantity in ("between", "within"):
        assert getattr(found, quantity) == pytest.approx(certified[quantity], rel=2 * tolerance)


def test_the_values_in_print():
    """The values listed on the site, typed in: the reading above takes the right columns."""
    found = one_way(*read("SiRstv")[:2])
    assert found.f == pytest.approx(1.18046237440255, rel=1e-11)
    assert found.r_squared == pytest.approx(0.190999039051129, rel=1e-11)
    assert found.residual_sd == pytest.approx(0.104076068334656, rel=1e-11)
    assert one_way(*read("SmLs09")[:2]).f == pytest.approx(2001, rel=1e-4)


@pytest.mark.parametrize("name", ["SmLs04", "SmLs07"])
def test_only_the_rounding_of_the_data_is_left(name):
    """Against exact fractions of the same doubles: what differs from the certificate is theirs."""
    from fractions import Fraction

    values, labels, _ = read(name)
    exact = [Fraction(float(value)) for value in values]
    grand = sum(exact) / len(exact)
    between = within = Fraction(0)
    for label in np.unique(labels):
        own = [exact[place] for place in np.flatnonzero(labels == label)]
        mean = sum(own) / len(own)
        between += len(own) * (mean - grand) ** 2
        within += sum((value - mean) ** 2 for value in own)
    f = float((between / 8) / (within / (len(exact) - 9)))
    assert one_way(values, labels).f == pytest.approx(f, rel=1e-12)
