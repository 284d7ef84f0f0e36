"""What a comparison says in words: right signs, right units, and nothing claimed that was not compared."""

from dataclasses import replace

import numpy as np
import pytest
from comparison_maker import (
    BARE,
    BOOTS,
    LINES,
    TOO_FEW,
    VEST,
    condition_contrasts,
    make_clips,
    make_declined,
    make_line,
    visit_contrasts,
)

from gait.compare.compared import COMPARED
from gait.compare.nouns import NO_DIFFERENCE, Contrast, Line
from gait.report.comparison.answer import advice, card, footage, lead
from gait.report.comparison.content import Card
from gait.report.comparison.naturally import day, goes, joined, sentence, wearing
from gait.report.comparison.wording import counted, resolution_words, told
from gait.report.words import NO_BREAK


def plain(text: str) -> str:
    return text.replace(NO_BREAK, " ")


def row(shown: Card, name: str) -> str:
    return plain(" ".join(dict(shown.rows).get(name, ())))


@pytest.mark.parametrize(
    ("line", "text"),
    [
        pytest.param(
            make_line("hind_reach_m", 0.5, 0.46, 0.015), "hind reach is 8 % shorter (5 to 11 %)", id="percent"
        ),
        pytest.param(make_line("fore_reach_bl", 1.0, 1.1, 0.03), "fore reach is 10 % longer (7 to 13 %)", id="longer"),
        pytest.param(
            make_line("topline_deg", 1.0, 3.1, 0.7),
            "the topline is 2.1 degrees more croup-high (1.4 to 2.8 degrees)",
            id="more croup-high",
        ),
        pytest.param(
            make_line("topline_deg", 3.1, 1.0, 0.7),
            "the topline is 2.1 degrees less croup-high (1.4 to 2.8 degrees)",
            id="less croup-high",
        ),
        pytest.param(
            make_line("topline_deg", -3.1, -1.0, 0.7),
            "the topline is 2.1 degrees less withers-high (1.4 to 2.8 degrees)",
            id="less withers-high",
        ),
        pytest.param(
            make_line("topline_deg", -1.0, -3.1, 0.7),
            "the topline is 2.1 degrees more withers-high (1.4 to 2.8 degrees)",
            id="more withers-high",
        ),
        pytest.param(
            make_line("topline_deg", 1.0, -1.1, 0.7),
            "the topline goes from 1.0 degrees croup-high to 1.1 degrees withers-high, a change of 2.1 degrees "
            "(1.4 to 2.8 degrees)",
            id="from croup-high to withers-high",
        ),
        pytest.param(
            make_line("topline_deg", -0.02, 2.08, 0.7),
            "the topline goes from level to 2.1 degrees croup-high, a change of 2.1 degrees (1.4 to 2.8 degrees)",
            id="from level",
        ),
        pytest.param(
            make_line("hind_duty_factor", 0.45, 0.42, 0.011),
            "the near hind paw is on the belt for 3 % of the stride less (2 to 4 %): 42 % instead of 45 %",
            id="share of the stride",
        ),
        pytest.param(
            make_line("limb_phase", 0.44, 0.49, 0.021),
            "the fore paw lands 5 % of the stride later after the hind paw of its side (3 to 7 %): 49 % instead of "
            "44 %",
            id="limb phase",
        ),
        pytest.param(
            make_line("hind_protraction_deg", 25.0, 28.0, 1.1),
            "the hind leg lands 3 degrees further forward (2 to 4 degrees)",
            id="further forward",
        ),
        pytest.param(
            make_line("fore_retraction_deg", 25.0, 22.0, 1.1),
            "the fore leg leaves the belt 3 degrees less far back (2 to 4 degrees)",
            id="less far back",
        ),
        pytest.param(
            make_line("tracking_up_m", 0.02, -0.02, 0.011),
            "the hind paw lands 4 cm less far forward against the print of the fore paw (3 to 5 cm): 2 cm short of it "
            "instead of 2 cm beyond it",
            id="from over-tracking to under-tracking",
        ),
        pytest.param(
            make_line("tracking_up_bl", 0.001, 0.05, 0.011),
            "the hind paw lands 5 % of body length further forward against the print of the fore paw (4 to 6 % of body "
            "length): 5 % of body length beyond it instead of on it",
            id="in body lengths",
        ),
        pytest.param(
            make_line("croup_excursion_m", 0.02, 0.03, 0.0022),
            "the croup moves up and down 50 % more (39 to 61 %)",
            id="excursion",
        ),
        pytest.param(
            replace(make_line("hind_reach_m", 0.5, 0.46, 0.05), verdict="smaller"),
            "hind reach is 8 % shorter (−2 to 18 %)",
            id="an interval that holds nought keeps its sign",
        ),
        pytest.param(
            replace(make_line("hind_reach_m", 0.5, 0.46, 0.021), percent=np.nan),
            "hind reach is 4 cm shorter (2 to 6 cm)",
            id="no percent",
        ),
    ],
)
def test_a_difference_in_words(line: Line, text: str) -> None:
    assert plain(told(line)) == text


@pytest.mark.parametrize("name", [row.name for row in COMPARED])
@pytest.mark.parametrize("sign", [1, -1], ids=["larger", "smaller"])
def test_every_compared_measure_has_words_for_both_directions(name: str, sign: int) -> None:
    text = told(make_line(name, 10.0, 10.0 + sign, 0.1))
    assert text != told(make_line(name, 10.0, 10.0 - sign, 0.1))
    assert not set("{}_") & set(text) and "nan" not in text


@pytest.mark.parametrize(
    ("line", "text"),
    [
        pytest.param(make_line("stride_length_m", 1.0, 1.0, 0.025), "3 %", id="percent"),
        pytest.param(make_line("topline_deg", 1.0, 1.0, 0.5), "0.6 degrees", id="degrees"),
        pytest.param(make_line("hind_duty_factor", 0.5, 0.5, 0.01), "1 % of the stride", id="share"),
        pytest.param(replace(LINES[0], resolution=np.nan), "", id="not known"),
    ],
)
def test_the_smallest_difference_that_could_have_been_seen(line: Line, text: str) -> None:
    assert plain(resolution_words(line)) == text


@pytest.mark.parametrize(
    ("condition", "text"),
    [
        ("bare", "bare"),
        ("boots", "in boots"),
        ("weighted work vest", "in the weighted work vest"),
        ("Y-front harness", "in the Y-front harness"),
        ("lead tension", "with lead tension"),
        ("without a collar", "without a collar"),
        ("week 0", "in the condition “week 0”"),
        ("", "without a named condition"),
    ],
)
def test_conditions_stand_naturally_in_a_sentence(condition: str, text: str) -> None:
    assert wearing(condition) == text


def test_small_words() -> None:
    assert day("2026-03-02") == "2026-03-02" and day("spring") == "spring" and day("") == "a day not named"
    assert joined([]) == "" and joined(["a"]) == "a" and joined(["a", "b", "c"], "or") == "a, b or c"
    assert sentence("trot") == "Trot." and sentence("Why?") == "Why?" and sentence("m", capital=False) == "m."
    assert goes("trot") == "trots" and goes("walking trot") == "goes at a walking trot"
    assert goes("unclear") == "shows no clear gait"


def test_the_answer_of_the_same_gait() -> None:
    contrast, _ = condition_contrasts()
    shown = card(contrast, "c1")
    assert shown.title == "Tansy: weighted work vest against bare"
    assert shown.lead == "Same trot at the same belt speed (1.90 m/s)."
    assert plain(shown.findings[0]).startswith("The topline is 2.1 degrees more croup-high in the weighted work vest (")
    told = [plain(text).split(" is ")[0] for text in shown.findings]
    assert told == ["The topline", "Hind reach", "The near hind paw"]
    assert row(shown, "Also").count(".") == 3
    assert row(shown, "No difference shown").startswith("Stride length (3 %) and stride time (2 %); nor in fore duty")
    assert row(shown, "Not compared") == (
        "Withers excursion at the trot – the withers are hidden by the vest in more than half of the frames."
    )
    assert row(shown, "Please note") == "The vest was put on a minute before filming."


def test_what_one_question_alone_would_show_is_told_as_not_certain() -> None:
    shown = condition_contrasts()[0]
    lone = replace(make_line("hind_reach_m", 0.50, 0.46, 0.03), verdict=NO_DIFFERENCE)
    equal = replace(make_line("limb_phase", 0.44, 0.441, 0.021), verdict=NO_DIFFERENCE)
    told = card(replace(shown, lines=(lone, equal)), "x")
    assert plain(row(told, "Not certain")).startswith("Perhaps hind reach is 8 % shorter (2 to 14 %). Each of these")
    assert "reach" not in row(told, "No difference shown")
    assert told.findings == ()
    assert "Not certain" not in [name for name, _ in card(replace(shown, lines=(equal,)), "x").rows]


def test_another_gait_is_the_finding_and_comes_first() -> None:
    _, contrast = condition_contrasts()
    shown = card(contrast, "c2")
    assert shown.lead == (
        "In boots Tansy paces (9 of 12 strides), and also shows trot in 3; bare, Tansy trots (28 of 28 strides)."
    )
    assert not shown.findings and not row(shown, "No difference shown")
    assert (
        row(shown, "Not compared")
        == f"Everything at the trot – {TOO_FEW}. Everything at the pace – bare shows none of it."
    )


def test_gaits_besides_the_common_one_are_told() -> None:
    mixed = make_clips("boots", ("trot", 9), ("pace", 3))
    told_lead = lead(Contrast("condition", "Tansy", BARE, mixed, True, LINES))
    assert told_lead.endswith("In boots: trot in 9 and pace in 3 of 12 strides.")


def test_nothing_is_said_of_what_was_declined() -> None:
    declined = Contrast("condition", "Tansy", None, VEST, False, (), declined="Tansy has no baseline on that day.")
    shown = card(declined, "c1")
    assert shown.lead == "Nothing was compared: Tansy has no baseline on that day."
    assert not shown.findings and not row(shown, "Not compared")
    names = ("topline_deg", "hind_reach_m", "stride_time_s", "limb_phase", "stride_length_m")
    lines = tuple(make_declined(name) for name in names)
    whole = card(Contrast("condition", "Tansy", BARE, BOOTS, False, (*lines, LINES[0])), "c2")
    assert row(whole, "Not compared").startswith("5 measures (topline angle, ")


@pytest.mark.parametrize(
    ("before", "after", "text"),
    [
        pytest.param({"belt_m_s": 1.9}, {"belt_m_s": 1.9}, "at the same belt speed (1.90 m/s)", id="same"),
        pytest.param({"belt_m_s": 1.9}, {"belt_m_s": 1.95}, "at like belt speed (1.95 against 1.90 m/s)", id="like"),
        pytest.param(
            {"belt_m_s": 1.9}, {"belt_m_s": 2.2}, "but at different belt speed (2.20 against 1.90 m/s)", id="different"
        ),
        pytest.param({"belt_m_s": None}, {"belt_m_s": None}, "Same trot.", id="not known"),
    ],
)
def test_the_speed_of_both_sides(before: dict, after: dict, text: str) -> None:
    sides = make_clips("bare", **before), make_clips("boots", **after)
    assert text in lead(Contrast("condition", "Tansy", *sides, True, ()))


def test_visits_are_told_by_their_dates() -> None:
    shown = card(visit_contrasts()[1], "c1")
    assert shown.title == "Ember, bare: 2026-05-25 against 2026-03-02"
    assert "1.0 degrees withers-high to 0.9 degrees croup-high" in plain(shown.findings[0])
    assert "in the" not in shown.findings[0]


def test_several_gaits_are_kept_apart() -> None:
    lines = (LINES[0], replace(LINES[1], gait="walk"), make_line("stride_time_s", 0.5, 0.5, 0.02))
    shown = card(Contrast("condition", "Tansy", BARE, VEST, True, lines), "c1")
    assert plain(shown.findings[0]).startswith("At the trot, hind reach is 8 % shorter")
    assert plain(shown.findings[1]).startswith("At the walk, the topline")
    assert row(shown, "No difference shown").startswith("At the trot: Stride time")


def test_the_footage_of_each_side_and_what_to_do_better() -> None:
    contrast, _ = condition_contrasts()
    assert footage(contrast) == "Bare: usable with care (2 clips); weighted work vest: usable with care."
    assert advice(contrast) == ("Move the rail out of the way of the far paws (bare and weighted work vest).",)
    good = replace(BARE.records[0], grade="good")
    mixed = replace(BARE, records=(good, BARE.records[1]))
    assert "1 clip good and 1 clip usable with care" in footage(replace(contrast, baseline=mixed))


@pytest.mark.parametrize(
    ("number", "unit", "words"),
    [("1", "degrees", "1 degree"), ("1.0", "degrees", "1.0 degrees"), ("1", "inches", "1 inch"), ("1", "%", "1 %"),
     ("11", "degrees", "11 degrees")],
)  # fmt: skip
def test_one_is_one(number: str, unit: str, words: str) -> None:
    assert plain(counted(number, unit)) == words
