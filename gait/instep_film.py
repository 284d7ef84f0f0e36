"""The film of two clips in step: both dogs the same size and held in place, their contacts on one axis of strides."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from gait.filming import BEYOND, Caption, captions, held_picture, intervals
from gait.framing import Box, Framing, box_of, frame_box, held_middle
from gait.instep import StepMap, StepSettings, step_map
from gait.nouns import GaitRecord
from gait.trial import Facing
from pose.clip import Clip, Frame
from pose.draw import BAR_ORDER, DARK, GREY, PAW_WORDS, WHITE, Colour, draw_bars, draw_words
from pose.film import write_film
from pose.tracks import FloatArray, IntArray

Picture = NDArray[np.uint8]
Progress = Callable[[int, int], None]
#: A clip with its record; None = a landmark table, which has no pictures: its landmarks are shown on a plain ground.
Watched = tuple[Clip | None, GaitRecord]

#: px, the whole film: what an ordinary laptop shows without making it smaller.
SIZE_PX = (1280, 720)
#: px, heights of the line of words over each dog, of the bars below, and the gap between the dogs.
WORDS_PX, PANEL_PX, GAP_PX = 40, 216, 4
#: px, where the bars begin and end; the first row of either clip, the way to the next row, the height of a bar.
LEFT_PX, RIGHT_PX = 104, SIZE_PX[0] - 18
TOPS_PX, ROW_PX, BAR_PX = (526, 614), 17, 11
#: px, the line of the belt lies this far under the middle of a standing paw's mark, so as not to cross it.
BELT_UNDER_PX = 7
SOFT = (176, 180, 186)


@dataclass(frozen=True, slots=True, eq=False)
class _Side:
    """One of the two dogs.

    strides    what is said of each stride of the paw that lands at once
    held_px    (T, 2) px, where the middle of the trunk is held
    ground_bl  body lengths, how far below it the paws stand
    corner_px  px, left and top of its place in the film
    """

    clip: Clip | None
    record: GaitRecord
    label: str
    strides: tuple[Caption, ...]
    held_px: FloatArray
    ground_bl: float
    corner_px: tuple[int, int]


def write_in_step(
    first: Watched,
    second: Watched,
    path: Path,
    *,
    labels: tuple[str, str] | None = None,
    settings: StepSettings | None = None,
    progress: Progress | None = None,
) -> str:
    """Write the film of two clips in step to ``path`` (mp4); says why there is none, or "" when it is written.

    labels  what stands over each clip; None = its condition and date
    """
    steps = step_map(first[1], second[1], settings or StepSettings())
    if isinstance(steps, str):
        return steps
    write_film(_pictures((first, second), steps, labels, progress), path)
    return ""


def lay_out(box: Box, facing: Facing) -> tuple[Framing, tuple[int, int]]:
    """How each dog lies in its place, and the corner (left, top) px of the second's place.

    The places lie beside or above each other, whichever shows the dogs larger.
    """
    width, height = SIZE_PX[0], SIZE_PX[1] - PANEL_PX
    beside = frame_box(box, ((width - GAP_PX) // 2, height - WORDS_PX), facing)
    above = frame_box(box, (width, height // 2 - WORDS_PX), facing)
    if beside.px_per_bl >= above.px_per_bl:
        return beside, (width - beside.size_px[0], 0)
    return above, (0, height // 2)


def label_of(record: GaitRecord) -> str:
    """What the trial says about a clip: dog, condition and date, as far as known."""
    trial = record.trial
    return "  ".join(part for part in (trial.dog, trial.condition, trial.date) if part) or trial.clip


def nearest_frames(frames: Iterator[Frame], times_s: FloatArray) -> Iterator[Frame]:
    """The frame nearest to each of the rising ``times_s`` (N,) s, going through ``frames`` once."""
    here = next(frames)
    after = next(frames, None)
    for t_s in times_s:
        while after is not None and abs(after.t_s - t_s) <= abs(here.t_s - t_s):
            here, after = after, next(frames, None)
        yield here


def _pictures(
    watched: tuple[Watched, Watched], steps: StepMap, labels: tuple[str, str] | None, progress: Progress | None
) -> Iterator[tuple[float, Picture]]:
    sides, framing = _set_up(watched, steps, labels)
    ground = _ground(sides, steps)
    streams = [nearest_frames(_frames(side, times), times) for side, times in zip(sides, steps.source_s.T, strict=True)]
    for number, (film_s, *frames) in enumerate(zip(steps.film_s, *streams, strict=True)):
        picture = ground.copy()
        for which, (side, frame) in enumerate(zip(sides, frames, strict=True)):
            _put_dog(picture, side, frame, framing)
            _put_words(picture, side, float(steps.source_s[number, which]), framing.size_px[0])
        now = float(steps.strides_at(0, steps.source_s[number, 0])) / steps.strides
        _put_line(picture, now, WHITE, 2)
        yield float(film_s), picture
        if progress:
            progress(number + 1, len(steps))


def _set_up(
    watched: tuple[Watched, Watched], steps: StepMap, labels: tuple[str, str] | None
) -> tuple[list[_Side], Framing]:
    """The two sides, and how each dog lies in its place."""
    rows = [_rows(record, times) for (_, record), times in zip(watched, steps.source_s.T, strict=True)]
    box = box_of([(record, shown) for (_, record), shown in zip(watched, rows, strict=True)])
    facing: Facing = "right" if watched[0][1].facing == "right" else "left"
    framing, corner = lay_out(box, facing)
    sides = []
    for which, (clip, record) in enumerate(watched):
        label = labels[which] if labels else label_of(record)
        if record.facing != facing:
            label += "  (mirrored)"
        ground = box_of([(record, rows[which])]).ground
        shown = steps.touchdowns_s[:-1, which]
        words = tuple(stride for stride in captions(record, steps.paw) if stride.start_s in shown)
        sides.append(_Side(clip, record, label, words, held_middle(record), ground, corner if which else (0, 0)))
    return sides, framing


def _rows(record: GaitRecord, times_s: FloatArray) -> IntArray:
    """(n,) rows of the tracks within ``times_s`` (N,) s."""
    t_s = record.tracks.t_s
    return np.flatnonzero((t_s >= times_s[0]) & (t_s <= times_s[-1]))


def _frames(side: _Side, times_s: FloatArray) -> Iterator[Frame]:
    if side.clip is not None:
        yield from side.clip.between(float(times_s[0]), float(times_s[-1]))
        return
    plain = np.full((1, 1, 3), BEYOND, dtype=np.uint8)
    tracks = side.record.tracks
    for frame, t_s in zip(tracks.frame, tracks.t_s, strict=True):
        yield Frame(int(frame), float(t_s), plain)


def _put_dog(picture: Picture, side: _Side, frame: Frame, framing: Framing) -> None:
    row = int(np.argmin(np.abs(side.record.tracks.frame - frame.index)))
    shown = held_picture(frame, side.record, row, side.held_px[row], framing)
    left, top = side.corner_px
    width, height = framing.size_px
    if side.clip is None:
        foot = round(framing.middle_px[1] + side.ground_bl * framing.px_per_bl) + BELT_UNDER_PX
        cv2.line(shown, (0, foot), (width - 1, foot), GREY, 2)
        draw_words(shown, "landmarks only: a table has no pictures", (12, height - 12), 12, SOFT, width - 24)
    picture[top + WORDS_PX : top + WORDS_PX + height, left : left + width] = shown


def _put_words(picture: Picture, side: _Side, t_s: float, width: int) -> None:
    """The line over a dog: what is shown, and the gait and length of the present stride."""
    left, top = side.corner_px
    now = max((stride for stride in side.strides if stride.start_s <= t_s), key=lambda stride: stride.start_s)
    words = now.words
    if side.record.trial.clock_known:
        words += f"   stride {now.end_s - now.start_s:.2f} s"
    split = left + round(0.57 * width)
    draw_words(picture, side.label, (left + 12, top + 27), 16, WHITE, split - left - 36)
    draw_words(picture, words, (split, top + 27), 14, SOFT, left + width - split - 12)


def _ground(sides: list[_Side], steps: StepMap) -> Picture:
    """What stays from picture to picture: contacts of both clips on one axis of strides."""
    ground = np.full((SIZE_PX[1], SIZE_PX[0], 3), DARK, dtype=np.uint8)
    for which, side in enumerate(sides):
        _put_bars(ground, side, steps, which)
    _put_legend(ground, steps)
    return ground


def _put_bars(ground: Picture, side: _Side, steps: StepMap, which: int) -> None:
    top = TOPS_PX[which]
    draw_words(ground, side.label, (12, top - 7), 12, WHITE, SIZE_PX[0] // 2)
    for stride in range(steps.strides + 1):
        _put_line(ground, stride / steps.strides, GREY, 1)
    stances = intervals(side.record.contacts)
    for line, paw in enumerate(BAR_ORDER):
        y = top + line * ROW_PX
        draw_words(ground, PAW_WORDS[paw], (12, y + BAR_PX - 1), 11, SOFT)
        shares = steps.strides_at(which, stances[paw]) / steps.strides
        draw_bars(ground, (LEFT_PX, y, RIGHT_PX, y + BAR_PX), shares, paw)


def _put_legend(ground: Picture, steps: StepMap) -> None:
    foot = SIZE_PX[1] - 27
    draw_words(ground, "stride", (12, foot), 11, SOFT)
    for stride in range(steps.strides):
        draw_words(ground, str(stride + 1), (_across((stride + 0.5) / steps.strides) - 3, foot), 11, SOFT)
    pace = f"{steps.slower:g} times slower than life" if steps.slower != 1 else "at the pace of the first file"
    words = (
        f"The {steps.paw.replace('_', ' ')} lands at once in both: the second clip is stretched in time to fit. "
        f"Shown {pace}."
    )
    draw_words(ground, words, (LEFT_PX, SIZE_PX[1] - 8), 12, SOFT, RIGHT_PX - LEFT_PX)


def _put_line(picture: Picture, share: float, colour: Colour, wide: int) -> None:
    """A line across the rows of both clips at a share of the axis of strides."""
    x = _across(share)
    for top in TOPS_PX:
        cv2.line(picture, (x, top - 3), (x, top + 3 * ROW_PX + BAR_PX + 2), colour, wide)


def _across(share: float) -> int:
    """px from the left of a share of the axis of strides."""
    return round(LEFT_PX + share * (RIGHT_PX - LEFT_PX))
