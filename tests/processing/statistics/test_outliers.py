"""Outliers: published answers of the NIST/SEMATECH e-Handbook."""

from __future__ import annotations

import numpy as np
import pytest

from processing.statistics.outliers import generalised_esd, grubbs_critical, modified_z
from tests.processing.statistics.truths import column, told

PRINTED = 1e-3
"""The page of Rosner's example cuts its numbers after the third decimal."""


def test_rosners_example_has_three_outliers() -> None:
    published, values = told("rosner_gesd_published.json"), column("rosner_gesd.csv")

    found = generalised_esd(values, most=published["r_max"], alpha=published["alpha"])

    assert found.count == published["n_outliers"] == 3
    assert values[list(found.indices)].tolist() == published["outliers"]


def test_rosners_deviates_and_critical_values_are_those_of_the_handbook() -> None:
    published = told("rosner_gesd_published.json")

    found = generalised_esd(column("rosner_gesd.csv"), most=published["r_max"], alpha=published["alpha"])

    assert [one.deviate for one in found.candidates] == pytest.approx(published["R"], abs=PRINTED)
    assert [one.critical for one in found.candidates] == pytest.approx(published["lambda"], abs=PRINTED)


def test_grubbs_example_is_that_of_the_handbook() -> None:
    published = told("grubbs.json")
    values = np.array(published["data"])

    found = generalised_esd(values, most=1, alpha=2 * published["alpha"])

    assert found.candidates[0].deviate == pytest.approx(published["G"], abs=1e-4)
    assert grubbs_critical(len(values), published["alpha"]) == pytest.approx(published["critical"], abs=1e-3)
    assert values[list(found.indices)].tolist() == [245.57]


def test_the_modified_z_sees_two_outliers_that_hide_each_other() -> None:
    """Data from memory, answer by arithmetic: median 2.45, median distance 0.15."""
    published = told("modified_z.json")
    values = np.array(published["example_data_MEMORY"])

    scores = modified_z(values)

    assert values[np.abs(scores) > 3.5].tolist() == published["recomputed"]["flagged"]
    assert scores[8] == pytest.approx(0.6745 * (8.2 - 2.45) / 0.15)


def test_where_most_values_are_equal_only_the_others_are_far() -> None:
    assert modified_z(np.array([1.0, 1.0, 1.0, 2.0])).tolist() == [0.0, 0.0, 0.0, np.inf]


def test_equal_values_have_no_outlier() -> None:
    assert generalised_esd(np.ones(20), most=5, alpha=0.05).count == 0


def test_one_odd_value_among_two_is_none() -> None:
    assert generalised_esd(np.array([0.0, 9.0]), most=1, alpha=0.05).indices == ()
