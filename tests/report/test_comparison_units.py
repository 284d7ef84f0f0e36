"""A comparison in inches and miles per hour says what it says in metres, to the digit that is shown; nothing metric is
left in it."""

import io
import re
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from comparison_maker import (
    BARE,
    GROUPS,
    LINES,
    SETTINGS,
    TRENDS,
    VEST,
    condition_contrasts,
    group_contrasts,
    make_clips,
    make_declined,
    make_line,
    make_trend,
    visit_contrasts,
)
from page_reader import broken, read
from pypdf import PdfReader

from gait.compare.lines import Sides, unlike
from gait.compare.nouns import ClipSet, Comparison, Contrast, Line
from gait.compare.settings import CompareSettings
from gait.nouns import SideDifference
from gait.report.comparison.answer import lead
from gait.report.comparison.content import Document, Row, Table
from gait.report.comparison.document import build_document
from gait.report.comparison.page import page_of
from gait.report.comparison.pdf import pdf_of
from gait.report.comparison.units import in_units, line_in
from gait.report.comparison.wording import resolution_words, told
from gait.report.units import IMPERIAL, METRIC
from gait.report.words import NO_BREAK

IN_PER_M = 1 / 0.0254
#: Every unit of the metric system by itself, and the words for lengths.
METRIC_UNIT = re.compile(r"(?<![\w.])(m|cm|mm|m/s|km/h|kg|metres?|centimetres?)(?![\w/])")
NUMBER = re.compile(r"[−+]?\d+(?:\.\d+)?")
SLOW = "the forward speed differs by +20 % (1.50 and 1.80 m/s); up to 5 % is alike"


@cache
def comparison() -> Comparison:
    """Conditions, several dogs and visits, with lengths wherever there can be some."""
    long_side = SideDifference("stride_length_m", "hind", "m", 0.952, 0.901, 0.021, 5.5, 1.7)
    sides = [make_clips("bare", dog="Ember", date=date) for date in TRENDS[0].dates]
    sides = [replace(s, records=tuple(replace(r, sides=(*r.sides, long_side)) for r in s.records)) for s in sides]
    excursion = make_line("withers_excursion_m", 0.031, 0.022, 0.004)
    visits = tuple(replace(c, baseline=sides[0], condition=s, lines=(*c.lines, excursion))
                   for c, s in zip(visit_contrasts(), sides[1:], strict=True))  # fmt: skip
    slower = Contrast("condition", "Tansy", BARE, VEST, True, (*LINES, make_declined("stride_time_s", SLOW)))
    trends = (*TRENDS, make_trend("stride_length_m", (0.95, 0.93, 0.88), 0.02, (False, False, True)),
              make_trend("tracking_up_m", (0.031, np.nan, -0.012), 0.004, (False, False, True)))  # fmt: skip
    group = replace(GROUPS[0], measure="tracking_up_m", unit="m", differences=(-0.031, -0.02, -0.004), mean=-0.018,
                    low=-0.03, high=-0.006)  # fmt: skip
    contrasts = (*condition_contrasts(), slower, *group_contrasts(), *visits)
    return Comparison(contrasts, (*GROUPS, group), trends, SETTINGS, {"pawfall": "0.1.0"})


@cache
def document(units: str) -> Document:
    return build_document(comparison(), units=units)


def rows(units: str) -> list[tuple[Row, tuple[str, ...]]]:
    tables = [block for block in document(units).blocks() if isinstance(block, Table)]
    return [(row, table.columns[1:]) for table in tables for row in table.rows]


def figures(cell: str) -> list[tuple[float, float]]:
    """Each number with half of its last digit."""
    words = [word.replace("−", "-") for word in NUMBER.findall(cell)]
    return [(float(word), 0.5 * 10.0 ** -len(word.partition(".")[2])) for word in words]


def test_every_length_of_every_table_is_the_same_in_both() -> None:
    compared = 0
    for (metric, columns), (imperial, _) in zip(rows(METRIC), rows(IMPERIAL), strict=True):
        if not metric.head.endswith(", m"):
            assert metric.head == imperial.head and (metric.cells == imperial.cells)
            continue
        assert imperial.head == f"{metric.head.removesuffix(', m')}, in"
        for name, one, two in zip(columns, metric.cells, imperial.cells, strict=False):
            plain = name in ("Strides", "Verdict", "Dogs", "Symmetry index", "Symmetry angle") or "known" in one
            # a share of the baseline stands beside a difference and is the same in both
            percent = re.compile(r"\([^)]*%\)") if name == "Difference" else re.compile("$^")
            factor = 1.0 if plain else IN_PER_M
            pairs = list(zip(figures(percent.sub("", one)), figures(percent.sub("", two)), strict=True))
            for (old, half_old), (new, half_new) in pairs:
                assert new == pytest.approx(factor * old, abs=factor * half_old + half_new + 1e-9), (metric.head, name)
            compared += 0 if plain else len(pairs)
            assert percent.findall(one) == percent.findall(two)
    assert compared > 80


@pytest.mark.parametrize(
    ("line", "text"),
    [
        (
            make_line("tracking_up_m", 0.02, -0.02, 0.01),
            "the hind paw lands 1.6 inches less far forward against the print of the fore paw (1.2 to 2.0 inches): "
            "0.8 inches short of it instead of 0.8 inches beyond it",
        ),
        (
            make_line("tracking_up_m", 0.02, 0.008, 0.002),
            "the hind paw lands 0.47 inches less far forward against the print of the fore paw (0.39 to 0.55 inches): "
            "0.31 inches beyond it instead of 0.79 inches beyond it",
        ),
        (make_line("hind_reach_m", 0.5, 0.46, 0.015), "hind reach is 8 % shorter (5 to 11 %)"),
        (
            make_line("fore_protraction_deg", 25.0, 28.0, 1.0),
            "the fore leg lands 3 degrees further forward (2 to 4 degrees)",
        ),
    ],
    ids=["inches", "hundredths of inches", "percent", "degrees"],
)  # fmt: skip
def test_a_line_in_words(line: Line, text: str) -> None:
    assert told(line_in(line, IMPERIAL)).replace(NO_BREAK, " ") == text


def test_the_resolution_of_lines_without_a_percentage_is_in_inches() -> None:
    line = make_line("tracking_up_m", 0.02, 0.021, 0.01)
    assert resolution_words(line).replace(NO_BREAK, " ") == "1 cm"
    assert resolution_words(line_in(line, IMPERIAL)).replace(NO_BREAK, " ") == "0.5 inches"


def at_speed(clips: ClipSet, speed_m_s: float) -> ClipSet:
    """The clips with that measured speed, in metres too."""
    found = []
    for record in clips.records:
        known = {name: np.full(len(record.strides), value) for name, value in
                 (("speed_m_s", speed_m_s), ("stride_length_m", 1.0))}  # fmt: skip
        measures = record.strides.measures | known
        found.append(replace(record, strides=replace(record.strides, measures=measures)))
    return replace(clips, records=tuple(found))


def test_belt_and_measured_speeds_are_in_miles_per_hour() -> None:
    set_belt = [make_clips(name, belt_m_s=speed) for name, speed in (("bare", 1.8), ("boots", 1.5))]
    measured = [at_speed(make_clips(name, belt_m_s=None), speed) for name, speed in (("bare", 1.8), ("boots", 1.75))]
    told_set = lead(Contrast("condition", "Tansy", *set_belt, True, ()), IMPERIAL)
    assert "but at different belt speed (3.36 against 4.03 mph)" in told_set
    found = Contrast("condition", "Tansy", *measured, True, ())
    assert "at like measured speed (1.75 against 1.80 m/s)" in lead(found)
    assert "at like measured speed (3.91 against 4.03 mph)" in lead(found, IMPERIAL)


def test_why_speeds_were_too_unlike_is_told_in_miles_per_hour() -> None:
    sides = [at_speed(make_clips(name), speed).records for name, speed in (("bare", 1.5), ("boots", 1.8))]
    reason = unlike(Sides(*sides, True, ("bare", "boots")), "trot", CompareSettings())
    assert reason == SLOW
    line = line_in(make_declined("stride_time_s", reason), IMPERIAL)
    assert line.declined == SLOW.replace("1.50 and 1.80 m/s", "3.36 and 4.03 mph")


def test_what_a_person_called_a_condition_stays_as_it_is() -> None:
    reason = "2 kg vest: 3 strides of trot that can be used; 8 are needed"
    assert line_in(make_declined("stride_time_s", reason), IMPERIAL).declined == reason


def test_nothing_metric_is_left_on_the_page() -> None:
    metric, imperial = (page_of(document(units)) for units in (METRIC, IMPERIAL))
    assert not broken(imperial)
    for page, left in ((metric, {"m", "cm", "m/s"}), (imperial, set())):
        words = " ".join([read(page).text, *read(page).attributes("aria-label"), *read(page).attributes("alt")])
        assert set(METRIC_UNIT.findall(words)) == left


def test_nothing_metric_is_left_in_the_pdf() -> None:
    pages = PdfReader(io.BytesIO(pdf_of(document(IMPERIAL)))).pages
    words = " ".join(" ".join(page.extract_text().split()) for page in pages)
    assert not METRIC_UNIT.findall(words) and "inches" in words and "mph" in words


def test_what_is_compared_and_written_stays_metric() -> None:
    before = comparison()
    assert in_units(before, METRIC) is before
    in_units(before, IMPERIAL)
    assert {line.unit for contrast in before.contrasts for line in contrast.lines} >= {"m"}
    assert document(METRIC) != document(IMPERIAL)
