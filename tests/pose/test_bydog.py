"""Means over dogs and their intervals."""

import numpy as np
import pytest

from pose.bydog import BootstrapSettings, means_of_dogs, over_dogs, redrawn


def test_each_dog_counts_once() -> None:
    found = over_dogs(np.array([1.0, 1.0, 1.0, 5.0, np.nan]), ["a", "a", "a", "b", "c"])
    assert (found.mean, found.dogs, found.pictures) == (3.0, 2, 4)
    assert means_of_dogs(np.array([1.0, 3.0]), ["a", "a"]) == {"a": 2.0}


def test_two_dogs_have_no_interval_and_three_have() -> None:
    values = np.array([1.0, 2.0, 4.0])
    assert not over_dogs(values[:2], ["a", "b"]).certain
    assert set(over_dogs(values[:2], ["a", "b"]).as_dict()) == {"mean", "dogs", "pictures"}
    three = over_dogs(values, ["a", "b", "c"])
    assert three.certain and 1 <= three.low < three.mean < three.high <= 4
    assert over_dogs(values, ["a", "b", "c"]) == three


def test_nothing_is_nothing() -> None:
    found = over_dogs(np.array([np.nan]), ["a"])
    assert (found.dogs, found.pictures, found.as_dict()) == (0, 0, {"dogs": 0, "pictures": 0})


def test_the_interval_holds_the_truth_about_as_often_as_it_says() -> None:
    """Twelve dogs that differ by 1, eight pictures each that differ by 2; truth 0. The bootstrap of few is too narrow
    by about the root of (n - 1) / n (derived), so that 0.95 comes out near 0.92."""
    rng = np.random.default_rng(3)
    dogs = [str(dog) for dog in np.repeat(np.arange(12), 8)]
    held = []
    for _ in range(300):
        values = np.repeat(rng.normal(0, 1, 12), 8) + rng.normal(0, 2, 96)
        found = over_dogs(values, dogs, BootstrapSettings(draws=500))
        held.append(found.low <= 0 <= found.high)
    assert np.mean(held) == pytest.approx(0.92, abs=0.04)


def test_a_figure_of_all_rows_is_drawn_by_dogs_with_all_their_rows() -> None:
    values, dogs = np.array([1.0, 1.0, 1.0, 5.0, 9.0]), ["a", "a", "a", "b", "c"]
    found = redrawn(lambda rows: float(np.median(values[rows])), dogs)
    assert (found.mean, found.low, found.high) == (1.0, 1.0, 9.0)
    assert (found.dogs, found.pictures) == (3, 5)
    assert not redrawn(lambda rows: float(np.median(values[rows])), ["a", "a", "a", "b", "b"]).certain
    assert redrawn(lambda rows: float("nan"), dogs).as_dict() == {"dogs": 3, "pictures": 5}


def test_a_mean_has_the_same_interval_either_way() -> None:
    """One row of each dog: the mean over dogs and the figure of all rows are one."""
    values, dogs = np.arange(8.0) ** 2, list("abcdefgh")
    settings = BootstrapSettings(draws=500)
    assert redrawn(lambda rows: float(values[rows].mean()), dogs, settings) == over_dogs(values, dogs, settings)
