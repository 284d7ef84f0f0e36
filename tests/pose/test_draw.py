"""Marks lie where they should, and the strip of contact bars shows what was given."""

import numpy as np
import pytest

from pose.draw import BAR_ORDER, COLOURS, PAW_WORDS, DrawSettings, draw_landmarks, draw_strip, fit_width, framed
from pose.errors import PoseError
from pose.landmarks import LANDMARKS, PAWS

GREY = np.full((240, 320, 3), 128, dtype=np.uint8)
PLACES = np.array([[60, 200], [100, 200], [200, 200], [240, 200], [80, 80], [220, 80]], dtype=float)
COLOUR_TOLERANCE = 40


def changed(picture: np.ndarray) -> np.ndarray:
    return (np.abs(picture.astype(int) - GREY).sum(axis=2) > 0).nonzero()


@pytest.mark.parametrize("mark", range(6), ids=LANDMARKS)
def test_a_mark_is_centred_on_its_place(mark: int) -> None:
    places = np.full((6, 2), np.nan)
    places[mark] = PLACES[mark] + 0.3
    y, x = changed(draw_landmarks(GREY, places))
    assert (x.min() + x.max()) / 2 == pytest.approx(places[mark, 0], abs=0.75)
    assert (y.min() + y.max()) / 2 == pytest.approx(places[mark, 1], abs=0.75)


@pytest.mark.parametrize("mark", range(4), ids=PAWS)
def test_near_paws_are_discs_and_far_paws_are_rings(mark: int) -> None:
    settings = DrawSettings(least_px=8)
    drawn = draw_landmarks(GREY, PLACES, settings=settings)
    centre = drawn[int(PLACES[mark, 1]), int(PLACES[mark, 0])].astype(int)
    expected = COLOURS[mark] if PAWS[mark].startswith("near") else (128, 128, 128)
    assert np.abs(centre - expected).max() < COLOUR_TOLERANCE


def test_nothing_is_drawn_for_missing_landmarks_and_the_picture_is_not_touched() -> None:
    before = GREY.copy()
    drawn = draw_landmarks(GREY, np.full((6, 2), np.nan))
    np.testing.assert_array_equal(drawn, GREY)
    draw_landmarks(GREY, PLACES)
    np.testing.assert_array_equal(GREY, before)


def test_a_hidden_landmark_is_fainter() -> None:
    hidden = np.zeros(6, dtype=bool)
    hidden[0] = True
    at = tuple(PLACES[0, ::-1].astype(int))
    clear = np.abs(draw_landmarks(GREY, PLACES)[at].astype(int) - 128).sum()
    faint = np.abs(draw_landmarks(GREY, PLACES, hidden)[at].astype(int) - 128).sum()
    assert 0 < faint < 0.6 * clear


@pytest.mark.parametrize(
    ("shape", "expected"),
    [((1080, 1920), (720, 1280)), ((720, 1280), (720, 1280)), ((101, 67), (101, 67)), ((1001, 1333), (962, 1280))],
    ids=["wide", "at the limit", "small", "odd"],
)
def test_wide_pictures_are_made_narrower(shape: tuple[int, int], expected: tuple[int, int]) -> None:
    picture = np.zeros((*shape, 3), dtype=np.uint8)
    picture[shape[0] // 2 :, shape[1] // 2 :] = 255
    small, scale = fit_width(picture, 1280)
    assert small.shape == (*expected, 3)
    assert scale == pytest.approx(expected[1] / shape[1])
    y, x = np.argwhere(small[..., 0] > 127).min(axis=0)
    assert (y, x) == (pytest.approx(scale * (shape[0] // 2), abs=1), pytest.approx(scale * (shape[1] // 2), abs=1))


@pytest.mark.parametrize("scale", [0.2, 0.45, 0.8, 1.0, 2.5])
@pytest.mark.parametrize("turn_deg", [0.0, 7.0])
@pytest.mark.parametrize("mirror", [1, -1], ids=["as filmed", "mirrored"])
def test_a_framed_picture_has_its_parts_where_the_matrix_says(scale: float, turn_deg: float, mirror: int) -> None:
    picture = np.zeros((240, 320, 3), dtype=np.uint8)
    picture[115:126, 195:206] = 255
    a = np.deg2rad(turn_deg)
    turn = scale * np.diag([mirror, 1]) @ np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
    place = np.array([200.0, 120.0])
    matrix = np.column_stack([turn, np.array([70.3, 52.6]) - turn @ place])
    made = framed(picture, matrix, (150, 110), (0, 0, 0))
    light = made[..., 0].astype(float)
    assert made.shape == (110, 150, 3)
    middle = [(light.sum(axis=axis) * np.arange(size)).sum() / light.sum() for axis, size in ((0, 150), (1, 110))]
    assert middle == pytest.approx([70.3, 52.6], abs=0.1)
    assert light.sum() / 255 == pytest.approx((11 * scale) ** 2, rel=0.1)


def test_a_framed_picture_is_averaged_where_it_shrinks_and_plain_beyond_its_edge() -> None:
    stripes = np.zeros((400, 400, 3), dtype=np.uint8)
    stripes[:, ::2] = 200
    made = framed(stripes, np.array([[0.25, 0, 20], [0, 0.25, 20]]), (160, 160), (9, 99, 199))
    assert np.abs(made[40:100, 40:100].astype(int) - 100).max() <= 2
    assert (made[150, 150] == (9, 99, 199)).all()


def test_accents_are_left_out_where_the_font_has_none() -> None:
    accented, plain = (draw_strip(GREY, 0.0, [np.empty((0, 2))] * 4, caption=words) for words in ("Zoë", "Zoe"))
    np.testing.assert_array_equal(accented, plain)


def test_marks_beyond_the_edge_do_no_harm() -> None:
    assert draw_landmarks(GREY, PLACES * 100 - 5000).shape == GREY.shape


def test_the_wrong_number_of_landmarks_or_paws_is_an_error() -> None:
    with pytest.raises(PoseError, match=r"\(6, 2\) is needed"):
        draw_landmarks(GREY, PLACES[:4])
    with pytest.raises(PoseError, match="4 are needed"):
        draw_strip(GREY, 0.0, [np.empty((0, 2))])


def coloured_columns(drawn: np.ndarray, paw: int) -> np.ndarray:
    strip = drawn[240:]
    top = round(len(strip) * (0.3 + 0.165 * BAR_ORDER.index(paw)))
    row = strip[top + 3, :, :].astype(int)
    return np.flatnonzero(np.abs(row - COLOURS[paw]).max(axis=1) < COLOUR_TOLERANCE)


@pytest.mark.parametrize("bounds", [[0.4, 0.8], [np.nan, 0.8], [0.4, np.nan]], ids=["whole", "open start", "open end"])
def test_bars_lie_at_their_times(bounds: list[float]) -> None:
    stances = [np.array([bounds]), *[np.empty((0, 2))] * 3]
    settings = DrawSettings(span_s=2.0)
    drawn = draw_strip(GREY, 0.0, stances, clip_s=(0.0, 2.0), settings=settings)
    columns = coloured_columns(drawn, 0)
    text_px = (len(drawn) - 240) / 6
    left, right = round(6.2 * text_px), 320 - round(0.4 * text_px)
    begin, end = (value if np.isfinite(value) else edge for value, edge in zip(bounds, (0.0, 2.0), strict=True))
    assert columns.min() == pytest.approx(left + begin / 2 * (right - left), abs=2)
    assert columns.max() == pytest.approx(left + end / 2 * (right - left), abs=2)


def test_the_strip_keeps_the_picture_and_marks_the_present() -> None:
    settings = DrawSettings(span_s=2.0)
    empty = [np.empty((0, 2))] * 4
    early, late = (draw_strip(GREY, t_s, empty, clip_s=(0, 10), settings=settings) for t_s in (0.2, 0.6))
    np.testing.assert_array_equal(early[:240], GREY)
    assert early.shape[0] - 240 == settings.least_strip_px
    bottom = [np.flatnonzero((picture[-2].astype(int) > 200).all(axis=1)).mean() for picture in (early, late)]
    assert bottom[1] > bottom[0] + 5


def test_the_strip_stops_at_the_end_of_the_clip() -> None:
    stances = [np.array([[9.0, 10.0]]), *[np.empty((0, 2))] * 3]
    drawn = draw_strip(GREY, 10.0, stances, clip_s=(0.0, 10.0), settings=DrawSettings(span_s=2.0))
    text_px = (len(drawn) - 240) / 6
    left, right = round(6.2 * text_px), 320 - round(0.4 * text_px)
    columns = coloured_columns(drawn, 0)
    assert columns.min() == pytest.approx((left + right) / 2, abs=2)
    assert columns.max() == pytest.approx(right, abs=4)  # the line of the present stands at the very end


def test_rows_bear_words_and_a_caption_beyond_plain_letters_does_no_harm() -> None:
    empty = [np.empty((0, 2))] * 4
    plain = draw_strip(GREY, 0.0, empty)
    worded = draw_strip(GREY, 0.0, empty, caption="Trab für 3 Schritte")
    assert (plain != worded).any()
    assert tuple(word.replace(" ", "_") for word in PAW_WORDS) == PAWS
