"""Draws landmarks, contact bars and a caption on pictures. Knows numbers and words only, no gait."""

from collections.abc import Sequence
from dataclasses import dataclass
from unicodedata import combining, normalize

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from pose.errors import PoseError
from pose.landmarks import CROUP, LANDMARKS, PAWS, WITHERS
from pose.tracks import FloatArray

Picture = NDArray[np.uint8]
Colour = tuple[int, int, int]

#: Okabe & Ito 2008, "Color Universal Design", as quoted by others, page not opened (red, green, blue).
BLUE: Colour = (0, 114, 178)
SKY_BLUE: Colour = (86, 180, 233)
VERMILLION: Colour = (213, 94, 0)
ORANGE: Colour = (230, 159, 0)
BLUISH_GREEN: Colour = (0, 158, 115)
YELLOW: Colour = (240, 228, 66)
REDDISH_PURPLE: Colour = (204, 121, 167)
BLACK: Colour = (0, 0, 0)

WHITE: Colour = (255, 255, 255)
DARK: Colour = (28, 30, 34)
GREY: Colour = (110, 114, 120)

#: In the order of LANDMARKS. Near and far differ in form too (disc, ring), so that no pair rests on colour alone.
COLOURS = (BLUE, SKY_BLUE, VERMILLION, ORANGE, REDDISH_PURPLE, BLUISH_GREEN)
PAW_WORDS = ("near fore", "far fore", "near hind", "far hind")
#: The two paws of a side lie together, so that a pace and a trot look different at a glance.
BAR_ORDER = (0, 2, 1, 3)

#: OpenCV takes coordinates in 1/2**4 px, so that marks glide instead of jumping from pixel to pixel.
SHIFT = 4
FONT = cv2.FONT_HERSHEY_SIMPLEX


@dataclass(frozen=True, slots=True)
class DrawSettings:
    """How marks look. Common practice, no source, unless a reason is given.

    radius_share  radius of a landmark / shorter side of the picture
    least_px      px, smallest radius; below it disc and ring cannot be told apart
    faint         opacity of a hidden landmark
    strip_share   height of the strip of contact bars / height of the picture, in portrait of its middle part
    least_strip_px  px, below it the four rows and the caption cannot be read
    span_s        s shown in the strip at once; about four strides of a walk
    """

    radius_share: float = 0.011
    least_px: float = 4.0
    faint: float = 0.4
    strip_share: float = 0.2
    least_strip_px: int = 112
    span_s: float = 4.0


def fit_width(rgb: Picture, width_px: int) -> tuple[Picture, float]:
    """``rgb`` (H, W, 3) made no wider than ``width_px``, with even sides, and the factor by which it shrank."""
    height, width = rgb.shape[:2]
    scale = min(1.0, width_px / width)
    if scale == 1.0:
        return rgb, scale
    size = round(width * scale / 2) * 2, round(height * scale / 2) * 2
    return np.asarray(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA), dtype=np.uint8), scale


def framed(rgb: Picture, matrix: FloatArray, size_px: tuple[int, int], ground: Colour) -> Picture:
    """``rgb`` (H, W, 3) turned, scaled and moved into a picture of ``size_px`` (width, height).

    matrix  (2, 3), from px of ``rgb`` to px of the new picture; the middle of pixel 0 lies at 0
    ground  colour of what lies beyond ``rgb``
    """
    # where several pixels become one they are averaged first: warping alone would take one of them
    shrink = int(1 / np.sqrt(abs(np.linalg.det(matrix[:, :2]))))
    if shrink > 1:
        height, width = (max(1, side // shrink) for side in rgb.shape[:2])
        rgb = np.asarray(
            cv2.resize(rgb[: height * shrink, : width * shrink], (width, height), interpolation=cv2.INTER_AREA)
        )
        matrix = matrix @ np.array([[shrink, 0, (shrink - 1) / 2], [0, shrink, (shrink - 1) / 2], [0, 0, 1]])
    made = cv2.warpAffine(
        rgb, matrix, size_px, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=ground
    )
    return np.asarray(made, dtype=np.uint8)


def draw_landmarks(
    rgb: Picture, xy_px: ArrayLike, hidden: ArrayLike | None = None, *, settings: DrawSettings = DrawSettings()
) -> Picture:
    """A copy of ``rgb`` (H, W, 3) with six landmarks (6, 2) px; ``hidden`` (6,) ones faint, NaN ones left out."""
    places = np.asarray(xy_px, dtype=float)
    if places.shape != (len(LANDMARKS), 2):
        raise PoseError(f"Landmarks to draw have shape {places.shape}; (6, 2) is needed.")
    covered = np.zeros(len(LANDMARKS), dtype=bool) if hidden is None else np.asarray(hidden, dtype=bool)
    radius = max(settings.least_px, settings.radius_share * min(rgb.shape[:2]))
    clear = _marked(rgb, places, ~covered, radius)
    if covered.any():
        both = _marked(clear, places, covered, radius)
        clear = cv2.addWeighted(both, settings.faint, clear, 1 - settings.faint, 0).astype(np.uint8)
    return clear


def draw_strip(
    rgb: Picture,
    t_s: float,
    intervals: Sequence[FloatArray],
    *,
    caption: str = "",
    clip_s: tuple[float, float] = (-np.inf, np.inf),
    settings: DrawSettings = DrawSettings(),
) -> Picture:
    """``rgb`` (H, W, 3) with a strip below: when each paw was down, where ``t_s`` lies, and a caption.

    intervals  one (n, 2) array in s per paw in the order of PAWS; NaN = open at that end
    clip_s     s, first and last time of the clip; the strip does not scroll beyond them
    """
    if len(intervals) != len(PAWS):
        raise PoseError(f"Contact bars of {len(intervals)} paws came; {len(PAWS)} are needed.")
    height = max(settings.least_strip_px, round(settings.strip_share * min(rgb.shape[0], 0.75 * rgb.shape[1])))
    strip = np.full((height, rgb.shape[1], 3), DARK, dtype=np.uint8)
    from_s = _window_start(t_s, clip_s, settings.span_s)
    text_px = height / 6
    left = round(6.2 * text_px)
    for row, paw in enumerate(BAR_ORDER):
        top = round(height * (0.3 + 0.165 * row))
        draw_words(strip, PAW_WORDS[paw], (round(0.4 * text_px), top + round(0.62 * text_px)), 0.62 * text_px, WHITE)
        box = (left, top, strip.shape[1] - round(0.4 * text_px), top + round(0.1 * height))
        draw_bars(strip, box, (np.asarray(intervals[paw], dtype=float).reshape(-1, 2) - from_s) / settings.span_s, paw)
    _cursor(strip, left, (t_s - from_s) / settings.span_s, round(0.4 * text_px))
    clock = f"{t_s:.2f} s"
    clock_left = strip.shape[1] - round(0.66 * text_px * len(clock))
    room_px = clock_left - text_px
    draw_words(strip, caption, (round(0.4 * text_px), round(1.3 * text_px)), text_px, WHITE, room_px)
    draw_words(strip, clock, (clock_left, round(1.3 * text_px)), 0.8 * text_px, WHITE)
    return np.vstack([rgb, strip])


def _marked(rgb: Picture, places: FloatArray, chosen: NDArray[np.bool_], radius: float) -> Picture:
    """A copy with the ``chosen`` landmarks and, if both its ends are among the known, the topline."""
    canvas = rgb.copy()
    known = np.asarray(np.isfinite(places).all(axis=1))
    if known[WITHERS] and known[CROUP] and (chosen[WITHERS] or chosen[CROUP]):
        fore, rear = _fixed(places[WITHERS]), _fixed(places[CROUP])
        cv2.line(canvas, fore, rear, BLACK, max(2, round(radius * 0.7)), cv2.LINE_AA, SHIFT)
        cv2.line(canvas, fore, rear, YELLOW, max(1, round(radius * 0.35)), cv2.LINE_AA, SHIFT)
    for mark in np.flatnonzero(known & chosen):
        _mark(canvas, places[mark], radius, COLOURS[mark], ring=LANDMARKS[mark].startswith("far"))
    return canvas


def _mark(canvas: Picture, place: FloatArray, radius: float, colour: Colour, *, ring: bool) -> None:
    """A disc or a ring with a thin dark edge, so that it shows on a white coat and on a black one."""
    centre = _fixed(place)
    edge = max(1.0, 0.25 * radius)
    if not ring:
        cv2.circle(canvas, centre, _scaled(radius + edge), BLACK, cv2.FILLED, cv2.LINE_AA, SHIFT)
        cv2.circle(canvas, centre, _scaled(radius), colour, cv2.FILLED, cv2.LINE_AA, SHIFT)
        return
    cv2.circle(canvas, centre, _scaled(1.25 * radius), BLACK, round(2.6 * edge), cv2.LINE_AA, SHIFT)
    cv2.circle(canvas, centre, _scaled(1.25 * radius), colour, max(1, round(1.3 * edge)), cv2.LINE_AA, SHIFT)


def draw_bars(canvas: Picture, box: tuple[int, int, int, int], shares: FloatArray, paw: int) -> None:
    """Stances of one paw as bars on ``canvas`` (H, W, 3): filled for a near paw, an outline for a far one.

    box     px, left, top, right, bottom
    shares  (n, 2) touchdown and lift-off as shares of the box's width; NaN = open at that end
    paw     number of the paw in the order of PAWS
    """
    x0, y0, x1, y1 = box
    cv2.line(canvas, (x0, (y0 + y1) // 2), (x1, (y0 + y1) // 2), GREY, 1)
    ends = np.clip(np.where(np.isnan(shares), [0.0, 1.0], shares), 0, 1)
    filled = PAWS[paw].startswith("near")
    for begin, end in x0 + ends[ends[:, 1] > ends[:, 0]] * (x1 - x0):
        corners = (round(begin), y0), (round(end), y1)
        cv2.rectangle(canvas, *corners, COLOURS[paw] if filled else DARK, cv2.FILLED)
        cv2.rectangle(canvas, *corners, COLOURS[paw], max(1, (y1 - y0) // 6))


def _cursor(strip: Picture, left: int, share: float, margin: int) -> None:
    x = round(left + share * (strip.shape[1] - margin - left))
    cv2.line(strip, (x, round(0.28 * len(strip))), (x, len(strip) - 1), WHITE, max(1, len(strip) // 70), cv2.LINE_AA)


def draw_words(
    canvas: Picture, words: str, foot: tuple[int, int], height_px: float, colour: Colour, room_px: float = np.inf
) -> None:
    """Words on ``canvas`` (H, W, 3), foot at ``foot`` px, smaller where they would need more than ``room_px``."""
    # the font holds plain Latin letters only, so accents are left out; its capitals are 21 units high
    bare = "".join(letter for letter in normalize("NFKD", words) if not combining(letter))
    plain = bare.encode("ascii", "replace").decode()
    (width, _), _ = cv2.getTextSize(plain, FONT, height_px / 25, max(1, round(height_px / 12)))
    height_px *= min(1.0, room_px / max(width, 1))
    cv2.putText(canvas, plain, foot, FONT, height_px / 25, colour, max(1, round(height_px / 12)), cv2.LINE_AA)


def _window_start(t_s: float, clip_s: tuple[float, float], span_s: float) -> float:
    """s, left end of the strip: the current time in the middle, but never beyond the clip."""
    return float(max(clip_s[0], min(t_s - span_s / 2, clip_s[1] - span_s)))


def _scaled(length: float) -> int:
    return round(length * (1 << SHIFT))


def _fixed(place: FloatArray) -> tuple[int, int]:
    return _scaled(float(place[0])), _scaled(float(place[1]))
