"""A look at some two seconds of a film before hours of it are read, or filmed: what is good, and what to change.

The parts stand alone: ``rate_checks`` needs no network, ``picture_checks`` no movement (one picture is enough),
``walking_checks`` the record of a short clip. Light and sharpness have no check of their own: no limit for them was
measured; how well the landmarks are seen says what they cost.
"""

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from gait.belt import BeltSettings
from gait.errors import GaitError
from gait.filming import key_picture
from gait.framing import BoxSettings
from gait.nouns import GaitRecord, TrustCheck
from gait.reading import ReadingSettings, stride_time_s
from gait.record import build_record
from gait.report.page import picture_link
from gait.trial import Facing, Trial
from gait.trust import TrustSettings
from pose.clip import Clip, open_clip
from pose.errors import NoDogError, TooShortError
from pose.facts import film_facts
from pose.find import Reader
from pose.network import Network, NetworkSettings, Precision
from pose.read import ReadSettings, read_clip
from pose.tracks import FloatArray
from pose.window import FollowSettings

Picture = NDArray[np.uint8]

#: Checks of the record (gait.trust) that two seconds can answer.
OF_RECORD: Final = ("landmarks seen", "near and far certain", "camera square-on", "camera level")
#: A check of this module alone.
TURNED: Final = "camera not turned aside"
#: Frames of a stance that give a speed; derived: two give a line, a third tells a slip from it.
LEAST_OF_STANCE: Final = 3
EDGES: Final = ("left", "upper", "right", "lower")


@dataclass(frozen=True, slots=True)
class PreviewSettings:
    """How a film is looked at.

    span_s       s of the real clock around its middle; holds three strides of a trot, two of a walk
    longer_s     s instead, when those hold no stride: slow motion that nobody told, or a dog that stands
    most_frames  frames at most, so that an answer comes in seconds; two seconds at 240 frames per second
    looks        pictures in which the facing is voted on; two seconds show one dog that walks one way, and where there
                 is none, each costs the search of a whole picture
    spare_bl     body lengths that have to lie between a landmark and the edge of the picture: as much as films side by
                 side show beyond the landmarks (gait.framing), a paw or the edge of the belt
    turned       1, speed of the slower paws on the belt / that of the faster, fore and hind: the end of the dog that is
                 nearer to a turned camera moves faster in the picture. 1 - 2 L sin a / D for paws L apart, D from a
                 camera turned by a (derived); half a metre, three metres and the 18 deg at which lengths come out 5 %
                 short give 0.9. Drawn dogs: 0.99 square, 0.92 to 0.95 at 10 deg, 0.89 to 0.91 at 20
    window_bl    body lengths, width of what the network is shown; a shorter dog is blown up for it
    trust, reading  the limits by which whole clips are judged
    """

    span_s: float = 2.0
    longer_s: float = 8.0
    most_frames: int = 480
    looks: int = 4
    spare_bl: float = BoxSettings().spare
    turned: float = 0.9
    window_bl: float = FollowSettings().body_lengths
    trust: TrustSettings = field(default_factory=TrustSettings)
    reading: ReadingSettings = field(default_factory=ReadingSettings)


@dataclass(frozen=True, slots=True, eq=False)
class Preview:
    """What a short look says of a film.

    facts    of the file, see pose.facts
    facing   the side of the picture towards which the dog walks; "" = no dog was found
    checks   each with value, limit and what to change; NaN = could not be told
    notes    plain sentences
    picture  rgb (H, W, 3), one upright frame with its landmarks
    """

    facts: dict[str, Any]
    facing: Facing | str
    checks: tuple[TrustCheck, ...]
    notes: tuple[str, ...]
    picture: Picture


def preview(
    path: Path, network: Reader, trial: Trial | None = None, settings: PreviewSettings = PreviewSettings()
) -> Preview:
    """A look at the middle of the film at ``path``; ``trial`` tells the rate of the camera and the facing, if known.

    Raises ClipError when the film cannot be opened.
    """
    trial = trial or Trial()
    clip = open_clip(path, filmed_fps=trial.filmed_fps)
    looked = _look(middle_of(clip, settings.span_s, settings.most_frames), network, trial, settings)
    if looked.record is None and looked.facing and clip.duration_s > settings.span_s:
        longer = _look(middle_of(clip, settings.longer_s, settings.most_frames), network, trial, settings)
        looked = longer if longer.facing else looked
    checks = (*rate_checks(clip, trial, settings), *looked.checks)
    return Preview(film_facts(clip), looked.facing, checks, looked.notes, looked.picture)


def middle_of(clip: Clip, span_s: float, most_frames: int) -> Clip:
    """``span_s`` s around the middle of ``clip``, or fewer when these are more than ``most_frames``."""
    if clip.frame_count < 2:
        return clip
    half = min(span_s, most_frames / clip.fps) / 2
    middle = (float(clip.stamps_s[0]) + float(clip.stamps_s[-1])) / 2
    return clip.part(middle - half, middle + half)


def rate_checks(clip: Clip, trial: Trial, settings: PreviewSettings) -> tuple[TrustCheck, ...]:
    """Whether the frames are close enough in time: of the camera when its rate is known, else of the file."""
    advice = "Film at 60 frames a second or more: touchdowns and lift-offs are coarse."
    if clip.fps < settings.reading.least_fps:
        advice = "Film at 60 frames a second or more: at this rate nothing is read, since no paw is seen to land."
    return (_least("frames per second", clip.fps, settings.trust.fps, "1/s", advice),)


def picture_checks(
    xy_px: FloatArray, size_px: tuple[int, int], length_px: float, input_px: int, settings: PreviewSettings
) -> tuple[TrustCheck, ...]:
    """Whether the dog lies whole and large enough in the picture, from its landmarks (N, 6, 2) px in any pictures.

    size_px    width and height of the picture     length_px  px from withers to croup
    input_px   px, width of what the network is shown
    """
    low, high = np.nanmin(xy_px, axis=(0, 1)), np.nanmax(xy_px, axis=(0, 1))
    room = np.array([*low, *(np.array(size_px) - 1 - high)]) / length_px
    edge = int(np.argmin(room))
    close = f"The dog comes too close to the {EDGES[edge]} edge: move the camera back, or turn it that way."
    small = "The dog is small: move the camera closer or zoom in, until the dog fills half of the picture's width."
    return (
        _least("dog whole in the picture", float(room[edge]), settings.spare_bl, "body lengths to the edge", close),
        _least("dog large enough", length_px, input_px / settings.window_bl, "px from withers to croup", small),
    )


def walking_checks(record: GaitRecord | None, why: str, settings: PreviewSettings) -> tuple[TrustCheck, ...]:
    """What a dog on a moving belt shows of the camera; without a record it is not known, and ``why``."""
    if record is None:
        unknown = (TURNED, *OF_RECORD[2:])
        return tuple(TrustCheck(name, float("nan"), float("nan"), "", False, why) for name in unknown)
    ratio = fore_hind_speed(record)
    near, far = ("hind", "fore") if ratio < 1 else ("fore", "hind")
    advice = (f"The {near} end of the dog is nearer to the camera: move the camera towards the {far} end, until it "
              "looks square at the belt.")  # fmt: skip
    turned = _least(TURNED, min(ratio, 1 / ratio), settings.turned, "slower / faster of fore and hind paws", advice)
    return (turned, *(check for check in record.checks if check.name in OF_RECORD))


def fore_hind_speed(record: GaitRecord) -> float:
    """1, speed of standing fore paws in the picture / that of standing hind paws; NaN when either is not seen."""
    speed = [_standing_speed(record, paw) for paw in range(4)]
    return float(np.sqrt(speed[0] / speed[2] * speed[1] / speed[3]))


def _standing_speed(record: GaitRecord, paw: int) -> float:
    """px/s, median over the whole stances of a paw, each from the middle part in which it neither rolls nor eases."""
    contacts, t_s = record.contacts, record.tracks.t_s
    speeds = []
    for row in np.flatnonzero((contacts.paw == paw) & ~contacts.truncated):
        start, stop = contacts.touchdown_s[row], contacts.liftoff_s[row]
        ease = (1 - BeltSettings().core) / 2 * (stop - start)
        xy = record.tracks.xy_px[:, paw, 0]
        inside = (t_s >= start + ease) & (t_s <= stop - ease) & np.isfinite(xy)
        if inside.sum() >= LEAST_OF_STANCE:
            speeds.append(abs(np.polyfit(t_s[inside], xy[inside], 1)[0]))
    return float(np.median(speeds)) if speeds else float("nan")


@dataclass(frozen=True, slots=True, eq=False)
class _Looked:
    """What some seconds of a film say."""

    facing: Facing | str
    checks: tuple[TrustCheck, ...]
    notes: tuple[str, ...]
    picture: Picture
    record: GaitRecord | None = None


def _look(clip: Clip, network: Reader, trial: Trial, settings: PreviewSettings) -> _Looked:
    try:
        tracks, report = read_clip(clip, network, ReadSettings(looks=settings.looks), facing=trial.facing)
    except (NoDogError, TooShortError) as error:
        found = TrustCheck("dog found", 0.0, 1.0, "1", False, str(error))
        return _Looked("", (found,), (), list(clip.sample(3))[1 if clip.frame_count > 2 else 0].rgb)
    record, why = None, ""
    try:
        record = build_record(tracks, trial)
    except GaitError as error:
        why = str(error)
    checks = (
        TrustCheck("dog found", 1.0, 1.0, "1", True),
        *picture_checks(tracks.xy_px, (clip.width, clip.height), report.body_length_px, network.card.size_px[0],
                        settings),
        *walking_checks(record, why, settings),
    )  # fmt: skip
    notes = (*_clock_notes(clip), *(_strides_notes(record, trial, settings) if record else ()))
    return _Looked(report.facing, checks, notes, key_picture(clip, tracks), record)


def _clock_notes(clip: Clip) -> tuple[str, ...]:
    if clip.clock_source != "camera":
        return ()
    return (f"The camera noted that it filmed {clip.filmed_fps:g} frames per second; times follow that note.",)


def _strides_notes(record: GaitRecord, trial: Trial, settings: PreviewSettings) -> tuple[str, ...]:
    stride_s = stride_time_s(record)
    if trial.filmed_fps is None and stride_s > settings.reading.slow_stride_s:
        return (f"A stride takes {stride_s:.1f} s in this film, longer than a dog's: it is probably slow motion. "
                "Say below how fast the camera filmed.",)  # fmt: skip
    return record.notices


def _least(name: str, value: float, limit: float, unit: str, advice: str) -> TrustCheck:
    passed = bool(value >= limit)
    return TrustCheck(name, value, limit, unit, passed, "" if passed else advice)


def preview_json(
    path: str,
    network: str,
    precision: Precision = "auto",
    filmed_fps: float | None = None,
    facing: Facing | None = None,
) -> dict[str, Any]:
    """``preview`` as JSON knows it, for a process of its own; what is not known is None, the picture a data link."""
    trial = Trial(filmed_fps=filmed_fps, facing=facing)
    seen = preview(Path(path), Network.load(network, NetworkSettings(precision=precision)), trial)
    return {
        "facts": seen.facts,
        "facing": seen.facing,
        "checks": [_plain(check) for check in seen.checks],
        "notes": list(seen.notes),
        "picture": picture_link(seen.picture),
    }


def _plain(check: TrustCheck) -> dict[str, Any]:
    told = {name: getattr(check, name) for name in ("name", "unit", "passed", "advice")}
    return told | {name: _number(getattr(check, name)) for name in ("value", "limit")}


def _number(value: float) -> float | None:
    return round(float(value), 3) if np.isfinite(value) else None
