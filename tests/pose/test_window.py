"""Windows: cutting and the way back agree, on pictures whose bright spots lie at known places."""

from itertools import pairwise

import numpy as np
import pytest

from pose.window import OUTSIDE, FollowSettings, Window, cut, pulled, tiles, whole, window_around

SIZE = (320, 256)
CLOSE_PX = 0.35


def spots(width: int, height: int, places: list[tuple[float, float]], sd: float = 6.0) -> np.ndarray:
    """(H, W, 3) black with a soft bright spot at each place (x, y) px."""
    x, y = np.meshgrid(np.arange(width), np.arange(height))
    light = sum(np.exp(-((x - a) ** 2 + (y - b) ** 2) / (2 * sd**2)) for a, b in places)
    return np.repeat((255 * np.clip(light, 0, 1)).astype(np.uint8)[..., None], 3, axis=2)


@pytest.mark.parametrize("mirrored", [False, True], ids=["as is", "mirrored"])
@pytest.mark.parametrize(
    "window",
    [
        Window(200, 150, 320),
        Window(203.3, 148.6, 171.7),
        Window(220, 160, 700),
        Window(210, 150, 1190),
        Window(60, 60, 333),
    ],
    ids=["one to one", "enlarged", "shrunk", "shrunk by more than three", "over the edge"],
)
def test_a_spot_comes_back_to_where_it_was(window: Window, mirrored: bool) -> None:
    window = Window(window.x_px, window.y_px, window.width_px, mirrored)
    spot = (window.x_px + 0.17 * window.width_px, window.y_px + 0.11 * window.width_px)
    seen = cut(spots(900, 600, [spot], sd=0.02 * window.width_px), window, SIZE)[0]
    seen = np.where(seen > OUTSIDE / 255 + 0.1, seen, 0)  # the spot's core; the grey of outside is left out
    y, x = np.indices(seen.shape)
    centre = np.array([(seen * x).sum(), (seen * y).sum()]) / seen.sum()
    assert np.hypot(*(window.to_picture(centre, SIZE) - spot)) < CLOSE_PX * max(window.scale(SIZE), 1)


def test_mirrored_is_the_same_picture_the_other_way_round() -> None:
    picture = np.random.default_rng(1).integers(0, 255, (300, 400, 3), dtype=np.uint8)
    plain, mirrored = (cut(picture, Window(180.5, 140, 260, side), SIZE) for side in (False, True))
    assert np.abs(plain[:, :, ::-1] - mirrored).max() < 0.02


def test_outside_the_picture_is_grey() -> None:
    seen = cut(np.full((100, 100, 3), 255, np.uint8), Window(0, 50, 100), SIZE)
    assert seen[:, :, :100] == pytest.approx(OUTSIDE / 255)
    assert seen[:, 100:150, 200:] == pytest.approx(1.0)
    assert cut(np.full((100, 100, 3), 255, np.uint8), Window(-500, -500, 100), SIZE) == pytest.approx(OUTSIDE / 255)


def test_fine_texture_does_not_flicker_when_shrunk() -> None:
    stripes = np.zeros((800, 800, 3), np.uint8)
    stripes[:, ::2] = 200
    seen = cut(stripes, Window(400, 400, 640), SIZE)
    assert np.ptp(seen) < 0.02


@pytest.mark.parametrize(
    ("width", "height"), [(1920, 1080), (1080, 1920), (320, 256)], ids=["landscape", "portrait", "as the input"]
)
def test_the_whole_picture_is_in_the_whole_window(width: int, height: int) -> None:
    corners = whole(width, height, SIZE).to_picture(np.array([[-0.5, -0.5], [319.5, 255.5]]), SIZE)
    assert np.all(corners[0] <= -0.5 + 1e-9) and np.all(corners[1] >= np.array([width, height]) - 0.5 - 1e-9)


@pytest.mark.parametrize("share", [0.55, 0.3])
def test_tiles_leave_nothing_out_and_overlap_by_half(share: float) -> None:
    found = tiles(1280, 720, SIZE, share)
    span = found[0].width_px
    x, y = (sorted({getattr(one, name) for one in found}) for name in ("x_px", "y_px"))
    high = span * SIZE[1] / SIZE[0]
    for middles, length, reach in ((x, 1280, span), (y, 720, high)):
        assert middles[0] - reach / 2 <= 0 and middles[-1] + reach / 2 >= length - 1
        assert all(b - a <= reach / 2 + 1e-6 for a, b in pairwise(middles))


def dog(length: float = 100.0, leg: float = 100.0) -> np.ndarray:
    """(6, 2) px of a standing dog that faces right, its trunk's middle at (500, 300)."""
    x = np.array([0.4, 0.45, -0.5, -0.45, 0.5, -0.5]) * length
    return np.stack([500 + x, 300 + np.array([leg] * 4 + [0, 0])], axis=1)


@pytest.mark.parametrize("leg", [40.0, 100.0, 190.0], ids=["short legs", "usual", "long legs"])
def test_every_landmark_fits_well_into_the_window(leg: float) -> None:
    window = window_around(dog(leg=leg), SIZE, mirrored=False)
    half = np.array([window.width_px, window.width_px * SIZE[1] / SIZE[0]]) / 2
    away = np.abs(dog(leg=leg) - [window.x_px, window.y_px]) / half
    assert away.max() < 0.8


def test_the_window_lies_ahead_of_the_trunk_on_the_side_it_faces() -> None:
    assert window_around(dog(), SIZE, mirrored=False).x_px > 500 > window_around(dog(), SIZE, mirrored=True).x_px


def test_unseen_paws_do_not_spoil_the_window() -> None:
    xy = dog()
    xy[:4] = np.nan
    assert np.isfinite(
        [window_around(xy, SIZE, mirrored=False).width_px, window_around(xy, SIZE, mirrored=False).y_px]
    ).all()


def test_the_window_goes_part_of_the_way() -> None:
    moved = pulled(Window(0, 0, 100), Window(10, 20, 200), FollowSettings(pull=0.25))
    assert (moved.x_px, moved.y_px, moved.width_px) == (2.5, 5, 125)


def test_a_window_that_fits_stays_where_it_is() -> None:
    window = Window(50, 50, 100)
    assert pulled(window, Window(52, 49, 102)) == window
    assert pulled(window, Window(54, 49, 102)) != window
