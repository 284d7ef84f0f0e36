"""The page: whole, honest, and alone in the world."""

import base64
import re
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from late import Late
from page_reader import broken, fetched, read
from record_maker import Wish, make_record, make_standing

from gait.measures import MEASURES, SIDE_WARNING
from gait.nouns import Overruled, SideDifference, TrustCheck
from gait.overruling import NO_STRIDE
from gait.report.bygait import spread_words
from gait.report.cautions import CAUTIONS
from gait.report.page import page_text, picture_link, write_page
from gait.report.sections import SLOW_MOTION, checks, definitions
from gait.trial import Trial
from pose.landmarks import PAWS

HOSTILE = "</title><script>alert(\"x\")</script><img src=http://example.org/x onerror='y'>&amp;"

PICTURE = np.full((60, 80, 3), (200, 90, 10), dtype=np.uint8)
USUAL = make_record()
SHORT = Wish(runs=(("trot", 3),), dropped=())
UNKNOWN = make_record(
    Wish(known=False, runs=(("unclear", 3),), dropped=tuple((row, "sides_unsure") for row in range(12)))
)
BARE = replace(
    USUAL, runs=(), summaries=(), checks=(), notices=(), settings={}, versions={}, network_hash="", trial=Trial()
)
SAID = Overruled(
    "a", "near_hind", 0.52, 1.04, "walk", "<b>the pads land one by one", "Ada", "2026-11-26T20:15:00+00:00",
    strides=(37,), machine=("trot",), fore=0, matches=True, idle="",
)  # fmt: skip
LOST = replace(SAID, id="b", gait="", by="", strides=(), machine=(), matches=False, idle=NO_STRIDE)
CORRECTED = replace(USUAL, overruled=(SAID, LOST))
CASES = Late(
    {
        "usual": lambda: page_text(USUAL),
        "with film and picture": lambda: page_text(USUAL, picture=PICTURE, film="film.mp4"),
        "nothing known": lambda: page_text(UNKNOWN),
        "bare": lambda: page_text(BARE),
        "standing dog": lambda: page_text(make_standing()),
        "overruled": lambda: page_text(CORRECTED),
    }
)


@pytest.fixture(params=list(CASES))
def page(request: pytest.FixtureRequest) -> str:
    """Every page."""
    return CASES[request.param]


def test_the_page_is_well_formed_and_its_references_lead_somewhere(page: str) -> None:
    assert page.startswith("<!DOCTYPE html>")
    assert not broken(page)


def test_nothing_is_fetched_and_nothing_runs(page: str) -> None:
    assert not fetched(page)


def test_a_missing_number_never_shows_as_one(page: str) -> None:
    assert not re.search(
        r"\b(nan|inf|none|null)\b",
        read(page).text.replace("none: landmarks", "").replace("Network hash none", ""),
        re.I,
    )
    assert not re.search(r"\bnan\b", page, re.I)


def test_cautions_stand_whole_and_straight_under_the_answer(page: str) -> None:
    text = read(page).text
    for caution in CAUTIONS:
        assert f"{caution.gist} {caution.text}" in text
    sections = re.findall(r'<section id="(\w+)"', page)
    assert sections[:2] == ["answer", "cautions"]


@pytest.mark.parametrize(
    "words",
    [
        "no diagnosis",
        "veterinary surgeon",
        "local rules on who may treat animals",
        "differs from free gait",
        "several sessions to settle",
        "Gustas et al. 2016",
        "Clements et al. 2005",
        "One camera sees one plane",
        "Never tie a lead to the treadmill",
        "stop button",
        "sign of distress",
        "one dog on one day",
    ],
)
def test_cautions_hold_what_they_must(words: str) -> None:
    assert words in read(CASES["usual"]).text


def test_every_figure_has_its_words(page: str) -> None:
    pictures = [attrs for _, attrs in read(page).tags if attrs.get("role") == "img"]
    assert len(pictures) == 4 and all(len(attrs["aria-label"]) > 30 for attrs in pictures)
    assert page.count("<figure") == page.count("<figcaption>")
    assert all(attrs.get("alt") for tag, attrs in read(page).tags if tag == "img")


def test_hostile_names_stay_words() -> None:
    trial = Trial(clip=HOSTILE, dog=HOSTILE, date=HOSTILE, condition=HOSTILE, notes=HOSTILE)
    usual = make_record(replace(SHORT, trial=trial, notices=(HOSTILE,)))
    record = replace(usual, versions={HOSTILE: HOSTILE}, settings={HOSTILE: {HOSTILE: HOSTILE}}, facing=HOSTILE)
    record = replace(record, runs=(replace(usual.runs[0], gait=HOSTILE),), grade=HOSTILE)
    page = page_text(record, film='x" onerror="y')
    reader = read(page)
    assert not {tag for tag, _ in reader.tags} & {"script", "img"}
    assert not any("onerror" in attrs for _, attrs in reader.tags)
    assert HOSTILE in "".join(reader.words)
    assert not reader.wrong


def test_table_of_measures_equals_the_record() -> None:
    head, paws, whole = re.search(
        r'<table class="measures">\s*<thead>(.*?)</thead>\s*<tbody>(.*?)</tbody>\s*<tbody class="whole">(.*?)</tbody>',
        CASES["usual"],
        re.S,
    ).groups()
    usual_n = [int(n) for n in re.findall(r'<span class="n">n (\d+)<', head)]
    names = list(dict.fromkeys(row.measure for row in USUAL.summaries))
    of_dog = {item.name for item in MEASURES if item.whole}
    _same_numbers(_cells(paws), [name for name in names if name not in of_dog], PAWS, usual_n)
    title, *rows = whole.split("</tr>")
    assert int(re.search(r'<span class="n">n (\d+)<', title).group(1)) == usual_n[PAWS.index("near_hind")]
    shown = [name for name in names if name in of_dog]
    assert shown, "the usual record has measures of the whole dog"
    _same_numbers(_cells("</tr>".join(rows)), shown, ("near_hind",), usual_n[PAWS.index("near_hind") :])


def _cells(body: str) -> list[list[str]]:
    """The cells with numbers of each row."""
    return [re.findall(r'<td class="num"[^>]*>(.*?)</td>', row, re.S) for row in body.split("</tr>") if "<td" in row]


def _same_numbers(cells: list[list[str]], names: list[str], paws: tuple[str, ...], usual_n: list[int]) -> None:
    assert len(cells) == len(names)
    for name, row in zip(names, cells, strict=True):
        assert len(row) == len(paws)
        for paw, cell, usual in zip(paws, row, usual_n, strict=False):
            wanted = next(item for item in USUAL.summaries if item.measure == name and item.paw == paw)
            mean, sd, steady, n = re.match(
                r'([−\d.]+) <span class="sd">± ([\d.]+)</span>(?: <span class="sd">\(([\d.]+) %\)</span>)?'
                r'(?: <span class="n">n (\d+)</span>)?$',
                cell,
            ).groups()
            assert (steady is None) == np.isnan(wanted.cv)
            assert steady is None or float(steady) == pytest.approx(wanted.cv, rel=0.06)
            decimals = len(mean.partition(".")[2])
            assert float(mean.replace("−", "-")) == pytest.approx(wanted.mean, abs=0.5001 * 10**-decimals)
            assert float(sd) == pytest.approx(wanted.sd, abs=0.5001 * 10 ** -len(sd.partition(".")[2]))
            assert int(n or usual) == wanted.n


SIDES = (
    SideDifference("duty_factor", "hind", "1", 0.452, 0.401, 0.021, 11.96, 3.79),
    SideDifference("stance_s", "fore", "s", 0.220, 0.215, 0.012, np.nan, np.nan),
    SideDifference("reach_bl", "fore", "bl", 0.90, 0.95, np.nan, np.nan, np.nan),
)


def test_near_and_far_stand_side_by_side_with_the_warning() -> None:
    page = page_text(replace(USUAL, sides=SIDES))
    body = re.search(r'<table class="sides">.*?<tbody>(.*?)</tbody>', page, re.S).group(1)
    rows = [re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row) for row in body.split("</tr>") if "<td" in row]
    assert rows[0] == ["duty factor, hind paws", "0.452", "0.401", "0.021", "12.0 %", "3.8 %"]
    assert rows[1][1:] == ["0.220", "0.215", "0.012", "within the error"]
    assert rows[2][1:] == ["0.900", "0.950", "not known", "the error is not known"]
    text = read(page).text
    assert SIDE_WARNING in text
    assert "Robinson, Herzog" in text and "Zifchock" in text


def test_without_two_sides_nothing_is_said_of_symmetry() -> None:
    assert "symmetry" not in read(CASES["usual"]).text.lower()


def test_table_of_strides_equals_the_record() -> None:
    body = re.search(r'<table class="strides">.*?<tbody>(.*?)</tbody>', CASES["usual"], re.S).group(1)
    rows = [re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row) for row in body.split("</tr>") if "<td" in row]
    strides = USUAL.strides
    assert len(rows) == len(strides)
    for row, cells in enumerate(rows):
        assert cells[0] == PAWS[int(strides.paw[row])].replace("_", " ")
        assert cells[1:3] == [f"{strides.start_s[row]:.3f}", f"{strides.end_s[row]:.3f}"]
        assert cells[3].startswith(str(strides.gait[row]) or "not named")
        assert cells[5] == strides.dropped[row]


def test_both_answers_stand_side_by_side_with_reason_who_and_when() -> None:
    text = read(CASES["overruled"]).text
    assert "near hind 0.520 1.040 trot walk <b>the pads land one by one Ada 2026-11-26 20:15" in text
    assert f"{NO_STRIDE} leave it out <b>the pads land one by one not said 2026-11-26 20:15" in text
    assert text.count("named by a person") == 1  # in its row of the table of strides
    linked = page_text(CORRECTED, reading="../../clips/a b/report.html")
    assert "../../clips/a%20b/report.html" in read(linked).attributes("href")
    assert "overruled" not in read(CASES["usual"]).text


def test_the_answer_gives_means_with_unit_and_interval() -> None:
    text = read(CASES["usual"]).text
    row = next(item for item in USUAL.summaries if item.measure == "stride_time_s" and item.paw == "near_hind")
    assert f"{row.mean:.3f} ± 0.002 s from one touchdown of the near hind paw" in text
    assert "69 of 72 strides used: 2 gap, 1 truncated." in text
    assert "in metres not known, since no scale is known" in text


def test_means_over_several_gaits_are_said_to_be_mixed() -> None:
    warning = "mix strides of"
    assert warning in CASES["usual"]
    assert warning not in page_text(make_record(Wish(runs=(("trot", 2), ("unclear", 1)), dropped=())))


def test_what_is_not_known_is_said_plainly() -> None:
    text = read(CASES["nothing known"]).text
    assert "Unclear for 3 strides" in text and "0 of 12 strides used: 12 sides unsure." in text
    assert text.count("Not known.") == 4


def test_notices_are_shown_and_the_unknown_clock_is_told_even_when_the_record_forgets() -> None:
    slow = make_record(replace(SHORT, trial=Trial(clock_known=False), notices=("Sides were unsure for a while.",)))
    text = read(page_text(slow)).text
    assert "Sides were unsure for a while." in text
    assert "clock of this clip is not known" in text and "on the clock of the file" in text
    assert "clock of this clip" not in read(CASES["usual"]).text


@pytest.mark.parametrize("grade", ["good", "usable with care", "film again"])
def test_the_grade_stands_in_the_head(grade: str) -> None:
    assert f"Footage: <strong>{grade}</strong>" in page_text(make_record(replace(SHORT, grade=grade)))


def test_failed_checks_bring_their_advice_and_their_limit() -> None:
    text = read(CASES["usual"]).text
    assert "0.710 at least 0.900 does not hold" in text
    assert "When filming again Move the rail out of the way of the far paws." in text
    assert "0.400 deg at most 3 deg holds" in text
    sound = replace(USUAL, checks=tuple(check for check in USUAL.checks if check.passed))
    assert "When filming again Nothing." in read(page_text(sound)).text


def test_the_picture_travels_inside_the_page_in_its_colours() -> None:
    link = picture_link(np.tile(PICTURE, (30, 30, 1)))
    data = np.frombuffer(base64.b64decode(link.partition(",")[2]), np.uint8)
    picture = cv2.cvtColor(cv2.imdecode(data, cv2.IMREAD_COLOR), cv2.COLOR_BGR2RGB)
    assert max(picture.shape[:2]) == 1280
    assert np.abs(picture.mean(axis=(0, 1)) - (200, 90, 10)).max() < 4


def test_a_notice_of_slow_motion_is_not_told_twice_and_puts_the_clock_in_doubt() -> None:
    told = "The clock of this slow-motion film is not known."
    for trial in (Trial(clock_known=False), Trial()):
        text = read(page_text(make_record(replace(SHORT, trial=trial, notices=(told,))))).text
        assert told in text and SLOW_MOTION not in text and "on the clock of the file" in text


def test_each_gait_is_given_by_itself_when_the_dog_changes() -> None:
    table = re.search(r'<table class="gaits">.*?</table>', CASES["usual"], re.S).group()
    rows = [re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row) for row in table.split("</tr>")[1:] if "<td" in row]
    strides = USUAL.strides
    assert [row[0] for row in rows] == ["trot", "pace"]
    for gait, count, *cells in rows:
        chosen = strides.used & (strides.paw >= PAWS.index("near_hind")) & (strides.gait == gait)
        assert int(count) == np.count_nonzero(chosen)
        assert float(cells[0].split(" ± ")[0]) == pytest.approx(
            strides.measures["stride_time_s"][chosen].mean(), abs=5e-4
        )
    assert "gaits" not in re.findall(r'<table class="(\w+)">', page_text(make_record(SHORT)))


def test_a_measure_in_two_units_is_defined_once() -> None:
    labels = [item["label"] for item in definitions(BARE)]
    assert len(labels) == len(set(labels))
    assert next(item for item in definitions(BARE) if item["label"] == "stride length")["unit"] == "bl, m"


def test_shares_are_printed_in_percent() -> None:
    share = TrustCheck("landmarks seen", 0.913, 0.8, "share of frames", True)
    assert checks(replace(USUAL, checks=(share,)))[0]["value"] == "91.3 % of frames"


@pytest.mark.parametrize(
    ("values", "circular", "text"),
    [
        pytest.param([0.97, 0.01], True, "0.990 ± 0.028", id="phases around nought"),
        pytest.param([0.48, 0.52], False, "0.500 ± 0.028", id="plain"),
        pytest.param([0.5, np.nan], False, "0.500", id="one value has no spread"),
        pytest.param([np.nan], True, "not known", id="nothing known"),
    ],
)
def test_mean_and_spread_of_one_gait(values: list[float], circular: bool, text: str) -> None:
    assert spread_words(np.array(values), circular) == text


def test_written_page_is_whole_and_the_same_each_time(tmp_path: Path) -> None:
    for name in ("a.html", "b.html"):
        write_page(USUAL, tmp_path / name)
    assert (tmp_path / "a.html").read_bytes() == (tmp_path / "b.html").read_bytes()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.html", "b.html"]
    assert (tmp_path / "a.html").read_text(encoding="utf-8") == CASES["usual"]
