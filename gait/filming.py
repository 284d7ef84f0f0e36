"""The film of a reading: the clip with its landmarks, contact bars and gait names."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from gait.framing import Framing, matrix_of
from gait.nouns import Contacts, GaitRecord
from pose.clip import Clip, Frame
from pose.draw import DrawSettings, draw_landmarks, draw_strip, fit_width, framed
from pose.film import FilmSettings, write_film
from pose.landmarks import PAWS
from pose.tracks import FloatArray, Tracks

Picture = NDArray[np.uint8]
Progress = Callable[[int, int], None]

#: Strides shown at once in the strip of contact bars: enough to see the pattern repeat. Common practice, no source.
STRIDES_SHOWN = 4
#: s, limits of the time shown at once.
SPAN_LIMITS_S = (1.0, 12.0)

#: Marks for pictures that are looked at side by side: the paw below shall be seen. Our own choice.
SMALL_MARKS = DrawSettings(radius_share=0.009, least_px=4.0)
#: Ground of what lies beyond the edge of a clip's picture, dark enough not to draw the eye.
BEYOND = (52, 56, 62)


@dataclass(frozen=True, slots=True)
class Caption:
    """What stands over the bars from ``start_s`` to ``end_s``."""

    start_s: float
    end_s: float
    words: str


def write_gait_film(clip: Clip, record: GaitRecord, path: Path, progress: Progress | None = None) -> int:
    """Write ``clip`` with what was read in it to ``path`` (mp4), at the pace of the file; says how many frames."""
    return write_film(_drawn(clip, record, progress), path)


def key_picture(clip: Clip, tracks: Tracks) -> Picture:
    """The frame in which all landmarks are seen best, with its landmarks drawn: rgb (H, W, 3)."""
    row = best_row(tracks)
    return _marked(clip.at(float(tracks.t_s[row])).rgb, tracks, row)


def best_row(tracks: Tracks) -> int:
    """Row of ``tracks`` with the most landmarks seen, then the highest least score, then the nearest to the middle."""
    placed = np.isfinite(tracks.xy_px).all(axis=-1)
    seen = (placed & ~tracks.hidden).sum(axis=1)
    least = np.where(placed, np.nan_to_num(tracks.score), 0.0).min(axis=1)
    from_middle = np.abs(np.arange(len(tracks)) - len(tracks) / 2)
    return int(np.lexsort((from_middle, -least, -placed.sum(axis=1), -seen))[0])


def held_picture(frame: Frame, record: GaitRecord, row: int, held_px: FloatArray, framing: Framing) -> Picture:
    """A frame and the landmarks of its ``row`` with the dog held in place: rgb (H, W, 3).

    held_px  (2,) px, where the middle of the trunk is held, see gait.framing.held_middle
    """
    matrix = matrix_of(framing, record, held_px)
    picture = framed(frame.rgb, matrix, framing.size_px, BEYOND)
    places = record.tracks.xy_px[row] @ matrix[:, :2].T + matrix[:, 2]
    return draw_landmarks(picture, places, record.tracks.hidden[row], settings=SMALL_MARKS)


def captions(record: GaitRecord, paw: str = "near_hind") -> list[Caption]:
    """One caption per stride of ``paw``: the name with its probability, or why there is none."""
    strides = record.strides
    rows = np.flatnonzero(record.strides_of(paw))
    return [Caption(float(strides.start_s[row]), float(strides.end_s[row]), _words(record, int(row))) for row in rows]


def intervals(contacts: Contacts) -> list[FloatArray]:
    """One (n, 2) array in s per paw: touchdown and lift-off; NaN = cut by the start or end of the clip."""
    both = np.stack([contacts.touchdown_s, contacts.liftoff_s], axis=-1)
    return [both[contacts.paw == paw] for paw in range(len(PAWS))]


def _drawn(clip: Clip, record: GaitRecord, progress: Progress | None) -> Iterator[tuple[float, Picture]]:
    tracks = record.tracks
    rows = {int(number): row for row, number in enumerate(tracks.frame)}
    bars, words = intervals(record.contacts), captions(record)
    ends = (float(clip.stamps_s[0]), float(clip.stamps_s[-1]))
    settings = DrawSettings(span_s=span_s(record))
    for count, frame in enumerate(clip.frames(), start=1):
        row = rows.get(frame.index)
        rgb = _marked(frame.rgb, tracks, row)
        caption = next((item.words for item in words if item.start_s <= frame.t_s < item.end_s), "")
        picture = draw_strip(rgb, frame.t_s, bars, caption=caption, clip_s=ends, settings=settings)
        yield frame.t_s / clip.time_factor, picture
        if progress:
            progress(count, clip.frame_count)


def _marked(rgb: Picture, tracks: Tracks, row: int | None) -> Picture:
    """The picture at the width of the film with its landmarks; made small first, so that marks stay sharp."""
    small, scale = fit_width(rgb, FilmSettings().width_px)
    if row is None:
        return small
    # the middle of pixel 0 lies at 0, its outer edge at -0.5
    return draw_landmarks(small, scale * (tracks.xy_px[row] + 0.5) - 0.5, tracks.hidden[row])


def span_s(record: GaitRecord) -> float:
    """s to show at once: some strides of this dog, within limits."""
    times = record.strides.end_s - record.strides.start_s
    times = times[np.isfinite(times)]
    wanted = STRIDES_SHOWN * float(np.median(times)) if len(times) else DrawSettings().span_s
    return float(np.clip(wanted, *SPAN_LIMITS_S))


def _words(record: GaitRecord, row: int) -> str:
    strides = record.strides
    if strides.dropped[row]:
        return f"not used: {str(strides.dropped[row]).replace('_', ' ')}"
    name = str(strides.gait[row])
    if name == "unclear" and strides.candidates[row]:
        name += f" ({str(strides.candidates[row]).replace('/', ' or ')})"
    probability = float(strides.gait_probability[row])
    return name if np.isnan(probability) or name.startswith("unclear") else f"{name}  {100 * probability:.0f} %"
