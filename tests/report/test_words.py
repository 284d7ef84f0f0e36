"""Numbers and findings as plain words."""

import math
from dataclasses import replace

import numpy as np
import pytest
from record_maker import Wish, make_record, make_standing

from gait.nouns import Run, Summary
from gait.report.words import NO_BREAK, either_words, gait_sentence, half_interval, number, use_sentence, with_interval

#: Student's t for 95 % and 1, 9 and 30 degrees of freedom, as in any printed table of t.
T_TABLE = {1: 12.706, 9: 2.262, 30: 2.042}
T_TABLE_DIGITS = 0.0005


def summary(mean: float = 0.52, sem: float = 0.004, n: int = 10) -> Summary:
    return Summary("stride_time", "near_hind", "s", mean, sem * n**0.5, sem, 1.0, n)


@pytest.mark.parametrize(
    ("value", "spread", "text"),
    [
        pytest.param(0.52034, 0.0123, "0.520", id="two digits of the spread"),
        pytest.param(0.52034, 0.4, "0.52", id="wide spread, fewer decimals"),
        pytest.param(123.4, 35.0, "123", id="spread in tens, no decimals"),
        pytest.param(0.52034, 1e-7, "0.520", id="never more than three decimals"),
        pytest.param(59.94, math.nan, "59.9", id="no spread, three digits"),
        pytest.param(60.0, math.nan, "60", id="whole number"),
        pytest.param(1234.6, math.nan, "1235", id="no spread, large"),
        pytest.param(-2.04, 0.3, "−2.04", id="true minus sign"),
        pytest.param(-0.0004, 0.2, "0.00", id="no minus before nothing"),
        pytest.param(0.0, math.nan, "0", id="zero is a number"),
        pytest.param(math.nan, 0.1, "not known", id="missing"),
        pytest.param(math.inf, 0.1, "not known", id="no finite number"),
        pytest.param(None, 0.1, "not known", id="not given"),
    ],
)
def test_number_has_the_decimals_that_its_spread_warrants(value: float | None, spread: float, text: str) -> None:
    assert number(value, spread) == text


@pytest.mark.parametrize("freedom", T_TABLE)
def test_half_interval_is_students_t_times_the_standard_error(freedom: int) -> None:
    assert half_interval(summary(sem=1.0, n=freedom + 1)) == pytest.approx(T_TABLE[freedom], abs=T_TABLE_DIGITS)


@pytest.mark.parametrize("row", [summary(n=1), summary(sem=math.nan)], ids=["one stride", "error not known"])
def test_an_unknown_interval_is_said_to_be_unknown(row: Summary) -> None:
    assert math.isnan(half_interval(row))
    assert with_interval(row, "s").replace(NO_BREAK, " ") == "0.520 s (uncertainty not known)"


def test_mean_and_interval_share_unit_and_factor() -> None:
    text = with_interval(summary(mean=0.42, sem=0.004, n=10), "%", 100)
    assert text == f"42.00{NO_BREAK}±{NO_BREAK}0.90{NO_BREAK}%"


@pytest.mark.parametrize(
    ("runs", "text"),
    [
        pytest.param((("trot", 11), ("pace", 6)), "Trot for 11 strides, then pace for 6 strides.", id="a change"),
        pytest.param((("walk", 1),), "Walk for 1 stride.", id="one stride"),
        pytest.param(
            (("trot", 3), ("unclear", 2)),
            "Trot for 3 strides, then unclear for 2 strides (trot or pace).",
            id="unclear is said",
        ),
    ],
)
def test_gait_sentence(runs: tuple[tuple[str, int], ...], text: str) -> None:
    assert gait_sentence(make_record(Wish(runs=runs, dropped=()))) == text


def test_gait_sentence_tells_how_long_a_change_took() -> None:
    record = make_record(Wish(runs=(("pace", 3), ("trot", 4)), dropped=()))
    runs = (record.runs[0], replace(record.runs[1], steps_to=2))
    assert (
        gait_sentence(replace(record, runs=runs))
        == "Pace for 3 strides, then trot for 4 strides (the change took 2 strides)."
    )


def test_unclear_strides_inside_a_run_are_told() -> None:
    record = make_record(Wish(runs=(("trot", 2), ("unclear", 1), ("trot", 2)), dropped=()))
    whole = replace(record.runs[0], end_s=record.runs[-1].end_s, strides=4)
    text = "Trot for 4 strides, with 1 unclear among them (trot or pace)."
    assert gait_sentence(replace(record, runs=(whole,))) == text


def test_a_standing_dog_is_told_in_seconds() -> None:
    runs = (Run("stand", 1.0, 3.5, 0, 0), *make_record(Wish(runs=(("walk", 2),), dropped=())).runs)
    assert gait_sentence(replace(make_record(), runs=runs)) == "Stand for 2.50 s, then walk for 2 strides."


def test_a_stride_without_a_regular_gait_is_told_so() -> None:
    assert either_words(["trot", "uneven steps"]) == "trot or uneven steps"


def test_no_run_means_that_no_gait_could_be_named() -> None:
    assert gait_sentence(replace(make_record(), runs=())) == "No gait could be named in this clip."


@pytest.mark.parametrize(
    ("dropped", "text"),
    [
        pytest.param((), "12 of 12 strides used.", id="all"),
        pytest.param(
            ((0, "gap"), (5, "truncated"), (7, "gap")),
            "9 of 12 strides used: 2 gap, 1 truncated.",
            id="commonest reason first",
        ),
        pytest.param(((4, "sides_unsure"),), "11 of 12 strides used: 1 sides unsure.", id="reason in words"),
    ],
)
def test_use_sentence_counts_and_gives_reasons(dropped: tuple[tuple[int, str], ...], text: str) -> None:
    assert use_sentence(make_record(Wish(runs=(("trot", 3),), dropped=dropped)).strides) == text


def test_no_stride_at_all_is_said() -> None:
    assert use_sentence(make_standing().strides) == "No stride was found."


def test_counts_of_the_record_maker_are_what_they_claim() -> None:
    strides = make_record(Wish(runs=(("trot", 3),), dropped=((0, "gap"),))).strides
    assert len(strides) == 12 and np.count_nonzero(strides.used) == 11
