"""Figures of a comparison: what they draw is what the records hold."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from comparison_maker import (
    BARE,
    BOOTS,
    GROUPS,
    TRENDS,
    VEST,
    condition_contrasts,
    make_clips,
    make_comparison,
    visit_contrasts,
)
from generator import TROT, Scene, dog
from matplotlib.colors import to_rgb
from record_maker import DUTY, PHASES, Wish, make_record

from gait.compare.nouns import ClipSet, Comparison, Contrast, Trend
from gait.record import build_record
from gait.report import drawing
from gait.report.comparison.cycle import cycle, cycle_figure, paws_words, short
from gait.report.comparison.families import LOOKS, Family, Side, families
from gait.report.comparison.groups import pairs, pairs_figure
from gait.report.comparison.overlays import overlay_figures, toplines
from gait.report.comparison.visits import trend_figure
from gait.report.drawn import Drawn
from gait.trial import Trial
from pose.landmarks import PAWS

#: Share of the stride; the means of a made-up record are exact but for rounding.
EXACT = 1e-6
#: Of a dog in closed form, read from its tracks: share of the stride within which the core finds its mean events.
READ = 0.03

CONDITIONS = families(Comparison(condition_contrasts()))[0]
VISITS = families(Comparison(visit_contrasts()))[0]


def side(clips: ClipSet, gait: str = "trot") -> Side:
    return Side(clips.condition, clips, LOOKS[0], gait)


def unknown() -> Family:
    records = (make_record(Wish(known=False)),)
    nothing = ClipSet("Tansy", "bare", "2026-05-04", records, {})
    contrast = Contrast("condition", "Tansy", nothing, replace(nothing, condition="boots"), False, ())
    return families(Comparison((contrast,)))[0]


def every_figure(family: Family, trends: Sequence[Trend]) -> list[Drawn]:
    return [cycle_figure(family), *overlay_figures(family), trend_figure(trends, "Ember, bare, trot", "v1")]


def test_nothing_of_the_page_before_stays_on_the_next() -> None:
    """Axes are kept from page to page: what is drawn after other dogs is what is drawn first of all."""
    pages, alone = [(CONDITIONS, TRENDS), (unknown(), TRENDS[:1]), (VISITS, TRENDS[::-1])], []
    for page in pages:
        drawing._kept.cache_clear()
        alone.append(every_figure(*page))
    assert alone[0] != alone[1] != alone[2]
    for _ in range(2):
        assert [every_figure(*page) for page in pages] == alone
    assert [every_figure(*page) for page in pages[::-1]] == alone[::-1]


def test_the_mean_stride_is_that_of_the_records() -> None:
    for clips, gait in ((BARE, "trot"), (BOOTS, "pace")):
        mean = cycle(side(clips, gait))
        wanted = np.array([PHASES[gait][paw] for paw in PAWS])
        assert mean.touchdown == pytest.approx(wanted, abs=EXACT)
        assert mean.down == pytest.approx(np.full(4, DUTY[gait]), abs=EXACT)
        assert mean.touchdown_sd == pytest.approx(np.zeros(4), abs=EXACT)
    assert cycle(side(BARE)).strides == 28 and cycle(side(BOOTS, "pace")).strides == 9


def test_the_mean_stride_of_a_drawn_dog_and_its_paws_down() -> None:
    tracks, _ = dog(TROT, Scene(seconds=8.0, spread=0.01))
    record = build_record(tracks, Trial(dog="Tansy", date="2026-05-04", condition="bare", baseline=True))
    mean = cycle(side(ClipSet("Tansy", "bare", "2026-05-04", (record,), {"trot": 14})))
    assert np.abs((mean.touchdown - TROT.touchdowns() + 0.5) % 1 - 0.5).max() < READ
    assert np.abs(mean.down - TROT.duties()).max() < READ
    assert mean.paws_down.sum() == pytest.approx(1.0, abs=0.01) and mean.paws_down.argmax() == 2
    assert (mean.touchdown_sd[[0, 1, 3]] > 0.002).all()


def test_touchdowns_around_the_end_of_the_stride_are_averaged_round_it() -> None:
    record = make_record(Wish(runs=(("pace", 12),), dropped=()))
    late = record.contacts.paw == PAWS.index("near_fore")
    shifted = record.contacts.touchdown_s - np.where(late, np.where(np.arange(len(late)) % 2, 0.06, 0.02) * 0.52, 0.0)
    clips = replace(BARE, records=(replace(record, contacts=replace(record.contacts, touchdown_s=shifted)),))
    middle = cycle(side(clips, "pace")).touchdown[PAWS.index("near_fore")]
    assert min(middle, 1 - middle) < 0.01


def test_paws_down_in_words() -> None:
    assert paws_words(np.array([0.02, 0.12, 0.86, 0.001, 0.0])) == "two 86 %, one 12 %, none 2 %"
    assert paws_words(np.full(5, np.nan)) == "not known"


@pytest.mark.parametrize("family", [CONDITIONS, unknown()], ids=["conditions", "nothing known"])
def test_every_figure_says_in_words_what_it_shows_and_carries_nothing_from_outside(family: Family) -> None:
    for figure in (cycle_figure(family), *overlay_figures(family)):
        assert len(figure.alt) > 30 and len(figure.caption) > 80 and figure.title
        assert "nan" not in figure.alt.lower()
        for piece in (*figure.wide, *figure.narrow):
            assert piece.startswith("<svg") and "http" not in piece


def test_what_is_missing_is_said_to_be_not_known() -> None:
    for figure in (cycle_figure(unknown()), *overlay_figures(unknown())):
        assert "not known" in figure.alt or "no gait named" in figure.alt


def test_every_side_is_named_in_every_figure() -> None:
    for figure in (cycle_figure(CONDITIONS), *overlay_figures(CONDITIONS)):
        for one in CONDITIONS.sides:
            assert one.name in figure.alt
            assert all(one.name in piece for piece in (*figure.wide, *figure.narrow))


def test_sides_differ_in_colour_line_and_marker_so_that_they_read_in_grey() -> None:
    assert len({look.colour for look in LOOKS}) == len(LOOKS)
    assert len({str(look.line) for look in LOOKS}) == len(LOOKS)
    assert len({look.marker for look in LOOKS}) == len(LOOKS)
    grey = [float(np.dot(to_rgb(look.colour), (0.2126, 0.7152, 0.0722))) for look in LOOKS]
    assert grey[0] < min(grey[1:]) - 0.1 and max(grey) < 0.72


def test_the_baseline_stands_first_and_each_side_once() -> None:
    assert [one.name for one in CONDITIONS.sides] == ["bare", "weighted work vest", "boots"]
    visits = families(make_comparison())[-1]
    assert [one.name for one in visits.sides] == ["2026-03-02", "2026-04-13", "2026-05-25"]
    assert visits.title == "Ember, bare: visits"


def test_the_topline_over_the_stride_is_that_of_the_record() -> None:
    found = toplines(side(VEST))
    assert found.shape == (14, 60)
    assert found.mean() == pytest.approx(2.0, abs=0.05) and np.ptp(found.mean(axis=0)) == pytest.approx(3.0, abs=0.1)


def test_paired_lines_go_from_baseline_to_condition() -> None:
    unit, found = pairs(make_comparison(), GROUPS[0])
    assert unit == "cm" and list(found) == ["Tansy", "Brock", "Pilot"]
    assert found["Tansy"] == pytest.approx((50.0, 46.0)) and found["Pilot"] == pytest.approx((75.0, 72.0))


def test_dogs_whose_lengths_are_in_different_units_are_drawn_in_percent() -> None:
    comparison = make_comparison()
    first = comparison.contrasts[0]
    reach, *rest = first.lines
    lines = (replace(reach, measure="hind_reach_bl", unit="bl"), *rest)
    mixed = replace(comparison, contrasts=(replace(first, lines=lines), *comparison.contrasts[1:]))
    unit, found = pairs(mixed, GROUPS[0])
    assert unit == "% of the baseline" and found["Tansy"] == pytest.approx((100.0, 92.0))


def test_the_figures_of_dogs_and_visits_tell_their_numbers() -> None:
    words = pairs_figure(make_comparison(), list(GROUPS[:2]), ("Tansy", "Brock", "Pilot"), "g1").alt
    assert "hind reach: Tansy from 50.0 to 46.0 cm, Brock from 40.0 to 37.0 cm" in words
    figure = trend_figure(TRENDS, "Ember, bare, trot", "v1")
    assert "2026-05-25 0.90, flagged" in figure.alt and "2026-04-13 not known" in figure.alt
    assert figure.wide[0].count(">2 Mar 26<") == 3


@pytest.mark.parametrize(
    ("words", "letters", "text"),
    [("boots", 9, "boots"), ("weighted work vest", 14, "weighted …"), ("Donaudampfschiff", 8, "Donauda…")],
)
def test_long_names_are_cut_at_a_word(words: str, letters: int, text: str) -> None:
    assert short(words, letters) == text


def test_clips_without_the_gait_add_nothing() -> None:
    both = replace(BARE, records=(*BARE.records, make_clips("bare", ("walk", 5)).records[0]))
    assert cycle(side(both)).strides == 28
