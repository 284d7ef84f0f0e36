"""The order of steps from a clip (or a landmark table) to a folder of results, for every caller."""

import dataclasses
import shutil
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from itertools import count
from pathlib import Path

import cv2
import numpy as np

from gait.errors import TrialError
from gait.filming import key_picture, write_gait_film
from gait.hashing import content_hash
from gait.nouns import GaitRecord
from gait.placing import check_place, partial_of, put_in_place
from gait.record import build_record
from gait.report.page import write_page
from gait.tables import write_record
from gait.trial import Trial
from pose.clip import Clip, mean_rate, open_clip
from pose.errors import TooShortError
from pose.exchange import READERS, read_landmarks
from pose.network import Network
from pose.read import ReadReport, read_clip
from pose.table import as_written, write_table
from pose.tracks import FloatArray, Tracks

# the network takes all cores, or as many processes as cores share the work: threads of OpenCV would wait in their way
cv2.setNumThreads(1)

Progress = Callable[[str, int, int], None]

#: What a finished result consists of. An older result may be replaced; anything else in its folder is kept.
RESULT_FILES = ("landmarks.csv", "contacts.csv", "strides.csv", "record.json", "film.mp4", "report.html")


@dataclass(frozen=True, slots=True)
class ReadingSettings:
    """How to read one input.

    fps           frames per second of a folder of pictures; None = a film or a table, which carry times
    rotate_deg    deg clockwise, on top of the film's own turn
    start_s, stop_s  s on the clock of the file
    film          whether to write film.mp4
    seed          of every random draw
    least_frames  derived: half a second at ``least_fps`` holds no whole stride of a dog that trots at 2 Hz
    least_fps     real frames per second; derived: at 20 a stance of 0.2 s at the trot spans four frames,
                  below that touchdown and lift-off cannot be told apart
    slow_stride_s s, a median stride time above this is taken for slow motion that nobody declared;
                  no source found, set by judgement above the slow walk of a giant dog
    """

    fps: float | None = None
    rotate_deg: int = 0
    start_s: float | None = None
    stop_s: float | None = None
    film: bool = True
    seed: int = 0
    least_frames: int = 10
    least_fps: float = 20.0
    slow_stride_s: float = 1.4


@dataclass(frozen=True, slots=True, eq=False)
class Followed:
    """The landmarks of one source, and how they were come by: all that its record needs besides the trial.

    tracks        on the real clock, rounded as in landmarks.csv, so that reading that table again gives the very same
                  contacts and strides
    filmed_fps    frames per second of the camera when a person or the camera itself said so, else None
    notes         plain sentences about the way the clip was read
    network       name, precision and provider of the network; empty for a table
    network_hash  of the file in use, "" for a table
    sha256        of the content of the source
    """

    tracks: Tracks
    filmed_fps: float | None = None
    notes: tuple[str, ...] = ()
    network: Mapping[str, str] = field(default_factory=dict)
    network_hash: str = ""
    sha256: str = ""


@dataclass(frozen=True, slots=True)
class Reading:
    """What came of one input: its folder, the record, and plain sentences about the way it was read."""

    folder: Path
    record: GaitRecord
    notes: tuple[str, ...]


def is_table(source: Path) -> bool:
    """Whether ``source`` holds landmarks already (a table, COCO keypoints, C3D), so that no network is needed."""
    return source.suffix.lower() in READERS and not source.is_dir()


def plain_name(source: Path) -> str:
    """What to call an input: its file without the ending, or its folder."""
    return source.resolve().name if source.is_dir() else source.stem


def folder_names(sources: Iterable[Path]) -> list[str]:
    """A name per source, after its own; a second of one name gets '-2' (capitals do not tell two folders apart)."""
    names: list[str] = []
    for source in sources:
        stem = plain_name(source)
        taken = {name.casefold() for name in names}
        names.append(next(name for name in _numbered(stem) if name.casefold() not in taken))
    return names


def _numbered(stem: str) -> Iterator[str]:
    yield stem
    yield from (f"{stem}-{number}" for number in count(2))


def read_to_folder(
    source: Path,
    folder: Path,
    trial: Trial,
    *,
    network: Network | None = None,
    followed: Followed | None = None,
    settings: ReadingSettings = ReadingSettings(),
    progress: Progress | None = None,
) -> Reading:
    """Read ``source`` and leave the results in ``folder``, which appears (or is replaced) only when all is done.

    followed  what an earlier reading of the same source found; it takes the place of the network

    Raises PoseError or GaitError when the input cannot be used, OSError when the results cannot be written.
    """
    check_place(folder, "record.json")
    clip = None if is_table(source) else open_source(source, trial, settings)
    if followed is None:
        new = _of_table(source, trial, settings) if clip is None else watch(clip, trial, network, settings, progress)
        followed = dataclasses.replace(new, sha256=content_hash(source))
    record = record_of(source, followed, trial, settings)
    partial = partial_of(folder)
    shutil.rmtree(partial, ignore_errors=True)
    try:
        partial.mkdir(parents=True)
        _write(clip, record, partial, settings, progress)
        put_in_place(partial, folder, RESULT_FILES)
    finally:
        shutil.rmtree(partial, ignore_errors=True)
    return Reading(folder, record, followed.notes)


def record_of(source: Path, followed: Followed, trial: Trial, settings: ReadingSettings) -> GaitRecord:
    """The record of a source whose landmarks were followed; it tells what an earlier reading can be known by."""
    record = _record(followed.tracks, dataclasses.replace(trial, filmed_fps=followed.filmed_fps), settings, followed)
    asked = dataclasses.asdict(settings) | {"filmed_fps": trial.filmed_fps}
    told = {"input": source.name, "source_sha256": followed.sha256, "notes": list(followed.notes)}
    used = {**record.settings, "reading": told | {key: value for key, value in asked.items() if value is not None}}
    if followed.network:
        used["network"] = dict(followed.network)
    return dataclasses.replace(record, notices=(*record.notices, *followed.notes), settings=used)


def open_source(source: Path, trial: Trial, settings: ReadingSettings) -> Clip:
    """The film or the folder of pictures at ``source``, on the clock that the trial and the settings say."""
    return open_clip(
        source,
        fps=settings.fps,
        rotate_deg=settings.rotate_deg,
        filmed_fps=trial.filmed_fps,
        start_s=settings.start_s,
        stop_s=settings.stop_s,
    )


def watch(
    clip: Clip,
    trial: Trial,
    network: Network | None,
    settings: ReadingSettings = ReadingSettings(),
    progress: Progress | None = None,
) -> Followed:
    """Follow the landmarks through the pictures of ``clip``.

    Raises PoseError when no dog can be followed, TrialError without a network.
    """
    check_rate(clip.path.name, clip.stamps_s, settings)
    if network is None:
        raise TrialError(f"{clip.path.name} is a film and needs a network to be read.")
    report = (lambda done, total: progress("reading", done, total)) if progress else None
    tracks, seen = read_clip(clip, network, facing=trial.facing, progress=report)
    told = {"name": network.name, "precision": network.precision, "provider": network.provider}
    return Followed(as_written(tracks), clip.filmed_fps, _clip_notes(clip, seen), told, network.sha256)


def _of_table(source: Path, trial: Trial, settings: ReadingSettings) -> Followed:
    tracks = _cut_table(read_landmarks(source), trial, settings)
    check_rate(source.name, tracks.t_s, settings)
    return Followed(as_written(tracks), trial.filmed_fps)


def _clip_notes(clip: Clip, followed: ReadReport) -> tuple[str, ...]:
    notes = []
    if followed.frames_without_dog:
        notes.append(f"In {followed.frames_without_dog} of {clip.frame_count} frames no dog was found.")
    if clip.repeated:
        notes.append(f"{clip.repeated} frames were left out because their time stamp does not rise.")
    if clip.clock_source == "camera":
        notes.append(f"The camera noted that it filmed {clip.filmed_fps:g} frames per second; times follow that note.")
    return tuple(notes)


def _cut_table(tracks: Tracks, trial: Trial, settings: ReadingSettings) -> Tracks:
    """The rows of a table between start and stop, on the real clock."""
    if settings.fps is not None or settings.rotate_deg:
        raise TrialError("fps and rotate are for pictures; a landmark table has its own times. Leave them out.")
    rate = mean_rate(tracks.t_s)
    start_s = -np.inf if settings.start_s is None else settings.start_s
    stop_s = np.inf if settings.stop_s is None else settings.stop_s
    kept = (tracks.t_s >= start_s) & (tracks.t_s <= stop_s)
    columns = {item.name: getattr(tracks, item.name)[kept] for item in dataclasses.fields(tracks)}
    if trial.filmed_fps is not None and np.isfinite(rate):
        columns["t_s"] = columns["t_s"] * rate / trial.filmed_fps
    return Tracks(**columns)


def check_rate(name: str, stamps_s: FloatArray, settings: ReadingSettings = ReadingSettings()) -> None:
    """Raise TooShortError when ``stamps_s`` (T,) s are too few or too far apart for any stride to be seen."""
    if len(stamps_s) < settings.least_frames:
        raise TooShortError(
            f"{name} holds {len(stamps_s)} frames between start and stop; a stride needs {settings.least_frames} "
            "at the very least. Film for some ten seconds."
        )
    rate = mean_rate(stamps_s)
    if rate < settings.least_fps:
        raise TooShortError(
            f"{name} has {rate:.1f} frames per second; at least {settings.least_fps:g} are needed to see paws "
            "land, 60 are better. Film again at a higher rate."
        )


def _record(tracks: Tracks, trial: Trial, settings: ReadingSettings, followed: Followed) -> GaitRecord:
    """The gait record; when strides come out too slow for any dog and nobody told the clock, with an unknown clock."""
    network_hash = followed.network_hash
    record = build_record(tracks, trial, network_hash=network_hash, seed=settings.seed)
    told = trial.filmed_fps is not None or not trial.clock_known
    if told or stride_time_s(record) <= settings.slow_stride_s:
        return record
    slow = dataclasses.replace(trial, clock_known=False)
    return build_record(tracks, slow, network_hash=network_hash, seed=settings.seed)


def stride_time_s(record: GaitRecord) -> float:
    """s, median time of all whole strides; 0 when there is none."""
    times = record.strides.end_s - record.strides.start_s
    times = times[np.isfinite(times)]
    return float(np.median(times)) if len(times) else 0.0


def _write(
    clip: Clip | None, record: GaitRecord, folder: Path, settings: ReadingSettings, progress: Progress | None
) -> None:
    """Write every file of a result into ``folder``."""
    write_table(record.tracks, folder / "landmarks.csv")
    write_record(record, folder)
    film, picture = None, None
    if clip is not None:
        picture = key_picture(clip, record.tracks)
        if settings.film:
            report = (lambda done, total: progress("filming", done, total)) if progress else None
            write_gait_film(clip, record, folder / "film.mp4", report)
            film = "film.mp4"
    write_page(record, folder / "report.html", picture=picture, film=film)
