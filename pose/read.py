"""A clip and a network to tracks: find the dog, follow it, decide the sides, clean up."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field, replace
from itertools import islice
from typing import Literal, Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter

from pose.ahead import ahead
from pose.errors import NoDogError, TooShortError
from pose.find import FacingSettings, FindSettings, Reader, best_xy, facing_votes, find
from pose.heatmap import STRIDE, PeakSettings, Places, places
from pose.landmarks import CROUP, LANDMARKS, PAIRS, WITHERS
from pose.motion import SideSettings
from pose.sides import SidePath, decide_sides
from pose.sightings import Sightings, joined, nothing_found
from pose.smooth import SmoothReport, SmoothSettings, smooth
from pose.tracks import BoolArray, FloatArray, Tracks
from pose.window import Picture, Window, cut, pulled, window_around

Progress = Callable[[int, int], None]
Facing = Literal["left", "right"]


class FrameLike(Protocol):
    """One upright picture with its number and its time."""

    @property
    def index(self) -> int:
        """Number in the file."""
        ...

    @property
    def t_s(self) -> float:
        """s."""
        ...

    @property
    def rgb(self) -> Picture:
        """(H, W, 3) uint8."""
        ...


class ClipLike(Protocol):
    """What reading needs of a clip."""

    @property
    def name(self) -> str:
        """What to call it in messages."""
        ...

    @property
    def frame_count(self) -> int:
        """Number of frames, possibly estimated."""
        ...

    def frames(self) -> Iterable[FrameLike]:
        """Every frame from first to last."""
        ...

    def sample(self, count: int) -> Iterable[FrameLike]:
        """Frames spread over the clip."""
        ...


@dataclass(frozen=True, slots=True)
class ReadSettings:
    """How a clip is read.

    least_frames    frames, with fewer nothing can be said about movement
    looks           pictures spread over the clip in which the facing is voted on
    batch           frames per run of the network; their window is laid from the batch before, a seventh of a
                    second at 60 frames per second
    ahead           batches that are decoded while the network is busy with the ones before; two even out pictures
                    that take long to decode (derived: a key picture takes some frames' time), more cost memory
    score_bl        body lengths, the radius that a score speaks of
    least_radius_cells  heat cells, mass is never taken within less: training aims at a blob with an SD of one cell,
                    and the card's knots are measured with the same limit
    least_presence  0..1, mean presence over a batch below which the dog is searched for again
    hidden_mass     0..1, a place with less mass than this was guessed, not seen
    nothing_mass    0..1, a place with less mass than this is no place at all
    most_pause      batches, longest wait until a dog that was not found is searched for again: a search takes as
                    long as reading fifty frames, and half a second at 60 frames per second may be missed
    side_frames     frames on which near and far are decided at once: deciding takes ten kilobytes a frame, and two
                    minutes at 60 frames per second hold a hundred strides and more
    side_margin     frames that such a piece looks beyond either end, a few strides
    trunk_frames    frames of the running median of the trunk's path, against single wild places
    """

    least_frames: int = 8
    looks: int = 16
    batch: int = 8
    ahead: int = 2
    score_bl: float = 0.05
    least_radius_cells: float = 2.0
    least_presence: float = 0.4
    hidden_mass: float = 0.3
    nothing_mass: float = 0.03
    most_pause: int = 4
    side_frames: int = 7200
    side_margin: int = 300
    trunk_frames: int = 9
    peaks: PeakSettings = field(default_factory=PeakSettings)
    finding: FindSettings = field(default_factory=FindSettings)
    facing: FacingSettings = field(default_factory=FacingSettings)
    sides: SideSettings = field(default_factory=SideSettings)
    smoothing: SmoothSettings = field(default_factory=SmoothSettings)


@dataclass(frozen=True, slots=True)
class ReadReport:
    """How the reading went.

    facing            the side of the picture towards which the dog faces
    facing_probability  0..1; 1 when a person said it
    body_length_px    px, median distance from withers to croup
    frames_without_dog  frames in which no dog was found
    searches          times that the dog was searched for anew
    windows           (T, 3) px, middle (x, y) and width of the window of each frame
    smoothing         what cleaning changed
    """

    facing: Facing
    facing_probability: float
    body_length_px: float
    frames_without_dog: int
    searches: int
    windows: FloatArray
    smoothing: SmoothReport


def read_clip(
    clip: ClipLike,
    network: Reader,
    settings: ReadSettings = ReadSettings(),
    *,
    facing: Facing | None = None,
    progress: Progress | None = None,
) -> tuple[Tracks, ReadReport]:
    """Landmarks of the dog in every frame, in px of the upright picture, and how the reading went.

    facing    "left" or "right" when a person said it; None = found out
    progress  called with (frames done, frames in all)

    Raises NoDogError when no dog is found, TooShortError when there are too few frames.
    """
    if clip.frame_count < settings.least_frames:
        raise _too_short(clip.name, clip.frame_count, settings)
    facing, sure = (facing, 1.0) if facing else find_facing(clip, network, settings)
    seen = follow_dog(clip, network, settings, mirrored=facing == "left", progress=progress)
    if len(seen.t_s) < settings.least_frames:
        raise _too_short(clip.name, len(seen.t_s), settings)
    found = dog_found(seen, settings)
    if found.sum() < settings.least_frames:
        raise _no_dog(clip.name)
    tracks, length_px, changed = tracks_of(seen, network, settings)
    report = ReadReport(facing, sure, length_px, int((~found).sum()), seen.searches, seen.windows, changed)
    return tracks, report


def dog_found(seen: Sightings, settings: ReadSettings = ReadSettings()) -> BoolArray:
    """(T,) bool, frames in which there is something of the dog's topline."""
    return np.asarray((np.nan_to_num(seen.places.single_mass) > settings.nothing_mass).all(axis=1))


def tracks_of(
    seen: Sightings, network: Reader, settings: ReadSettings = ReadSettings()
) -> tuple[Tracks, float, SmoothReport]:
    """Sides decided, cleaned and scored: the tracks, the body length in px, and what cleaning changed.

    At least ``least_frames`` frames have to show the dog.
    """
    length_px = body_length(seen.places.single_xy[dog_found(seen, settings)])
    tracks = _tracks(seen, network, length_px, settings)
    tracks, changed = smooth(tracks, length_px=length_px, settings=settings.smoothing)
    return tracks, length_px, changed


def body_length(trunk_px: FloatArray) -> float:
    """px, median distance from withers to croup, (T, 2, 2) px."""
    return float(np.median(np.hypot(*(trunk_px[:, 0] - trunk_px[:, 1]).T)))


def trunk_path(single_px: FloatArray, mass: FloatArray, settings: ReadSettings = ReadSettings()) -> FloatArray:
    """(T, 2) px, the middle of the topline, slowed down and without gaps, so that a camera that follows the dog or a
    dog that drifts on the belt does not count as movement of the paws; from (T, 2, 2) px and (T, 2) 0..1."""
    seen = np.asarray((np.nan_to_num(mass) > settings.nothing_mass).all(axis=1))
    rows = np.arange(len(seen))
    middle = single_px.mean(axis=1)
    filled = np.stack([np.interp(rows, rows[seen], middle[seen, axis]) for axis in (0, 1)], axis=-1)
    return np.asarray(median_filter(filled, size=(settings.trunk_frames, 1), mode="nearest"))


def find_facing(clip: ClipLike, network: Reader, settings: ReadSettings = ReadSettings()) -> tuple[Facing, float]:
    """Which way the dog faces, by votes spread over the clip, and how probable that is.

    Raises NoDogError when no dog is seen in any of the pictures.
    """
    pictures = (frame.rgb for frame in clip.sample(settings.looks))
    votes = facing_votes(network, pictures, settings.facing, finding=settings.finding)
    if not np.isfinite(votes).any():
        raise _no_dog(clip.name)
    total = float(np.nansum(votes))
    return ("right" if total >= 0 else "left"), float(1 / (1 + np.exp(-min(abs(total), 50.0))))


def follow_dog(
    clip: ClipLike,
    network: Reader,
    settings: ReadSettings = ReadSettings(),
    *,
    mirrored: bool,
    progress: Progress | None = None,
) -> Sightings:
    """Candidates for every landmark in every frame; keeps no pictures and no maps."""
    follower = Follower(network, settings, lambda _: mirrored)
    kept: list[Sightings] = []
    done = 0
    for batch in ahead(_batches(clip.frames(), settings.batch), settings.ahead):
        kept.append(follower.read(batch))
        done += len(batch)
        if progress:
            progress(done, max(done, clip.frame_count))
    return replace(joined(kept, settings.peaks), searches=follower.searches)


class Follower:
    """Follows the dog from frames to frames; its window is laid anew after every ``batch`` of them.

    side      asked at every search with the picture: True = the dog faces left, None = there is no dog
    searches  times that the dog was searched for
    """

    def __init__(self, network: Reader, settings: ReadSettings, side: Callable[[Picture], bool | None]) -> None:
        self.searches = 0
        self._network, self._settings, self._side = network, settings, side
        width, height = network.card.size_px
        self._crops = np.empty((settings.batch, 3, height, width), np.float32)
        self._window: Window | None = None
        self._rest = self._pause = 0
        self._group: list[Sightings] = []

    @property
    def begins(self) -> bool:
        """Whether the next frames begin a batch."""
        return not self._group

    def turn(self, mirrored: bool) -> None:
        """The dog faces the other way than was thought: the window stays where it is and is mirrored, or no more."""
        if self._window is not None:
            self._window = replace(self._window, mirrored=mirrored)

    def read(self, frames: list[FrameLike]) -> Sightings:
        """Candidates in up to ``batch`` frames, all in one window."""
        if self.begins and self._window is None:
            self._search(frames[0].rgb)
        found, where = _read_batch(self._network, frames, self._window, self._settings, self._crops)
        seen = Sightings(np.array([one.index for one in frames]), np.array([one.t_s for one in frames]), found, where)
        self._group.append(seen)
        if sum(len(part.t_s) for part in self._group) >= self._settings.batch:
            places_now = joined(self._group, self._settings.peaks).places
            self._window = _next_window(self._window, places_now, self._network, self._settings)
            self._group = []
        return seen

    def _search(self, rgb: Picture) -> None:
        """Search unless one in vain was a short while ago."""
        self._rest = max(self._rest - 1, 0)
        if self._rest:
            return
        self.searches += 1
        side = self._side(rgb)
        found = None if side is None else find(self._network, rgb, self._settings.finding, mirrored=side)
        self._window = found[1] if found else None
        self._pause = 0 if found else min(2 * self._pause + 1, self._settings.most_pause)
        self._rest = self._pause


def _batches(frames: Iterable[FrameLike], size: int) -> Iterator[list[FrameLike]]:
    stream = iter(frames)
    while batch := list(islice(stream, size)):
        yield batch


def _read_batch(
    network: Reader,
    batch: list[FrameLike],
    window: Window | None,
    settings: ReadSettings,
    crops: NDArray[np.float32],
) -> tuple[Places, FloatArray]:
    """Candidates in px of the picture, and the window of each frame (N, 3); ``crops`` are written over."""
    if window is None:
        return nothing_found(len(batch), settings.peaks), np.full((len(batch), 3), np.nan)
    size = network.card.size_px
    for one, crop in zip(batch, crops[: len(batch)], strict=True):
        cut(one.rgb, window, size, out=crop)
    heat = network.run(crops[: len(batch)])
    radius = settings.score_bl * size[0] / settings.finding.follow.body_lengths
    found = places(heat, max(radius, settings.least_radius_cells * STRIDE), network.card.temperature, settings.peaks)
    found = Places(
        pair_xy=window.to_picture(found.pair_xy, size),
        pair_mass=found.pair_mass,
        single_xy=window.to_picture(found.single_xy, size),
        single_mass=found.single_mass,
        absent=found.absent,
    )
    where = np.tile([window.x_px, window.y_px, window.width_px], (len(batch), 1))
    return found, where


def _next_window(window: Window | None, found: Places, network: Reader, settings: ReadSettings) -> Window | None:
    """The window for the next frames, pulled towards where the dog was; None = search again."""
    if window is None or float(1 - found.absent.mean()) < settings.least_presence:
        return None
    xy = np.median(best_xy(found)[0], axis=0)
    if not np.isfinite(xy).all() or np.allclose(xy[WITHERS], xy[CROUP]):
        return None
    target = window_around(xy, network.card.size_px, mirrored=window.mirrored, settings=settings.finding.follow)
    return pulled(window, target, settings.finding.follow)


def _tracks(seen: Sightings, network: Reader, length_px: float, settings: ReadSettings) -> Tracks:
    """Tracks before cleaning: sides decided, scores calibrated."""
    found = seen.places
    count = len(seen.t_s)
    xy = np.full((count, len(LANDMARKS), 2), np.nan)
    mass = np.zeros((count, len(LANDMARKS)))
    hidden = np.zeros((count, len(LANDMARKS)), bool)
    side_score = np.empty((count, len(PAIRS)))
    xy[:, (WITHERS, CROUP)], mass[:, (WITHERS, CROUP)] = found.single_xy, np.nan_to_num(found.single_mass)
    trunk = trunk_path(found.single_xy, found.single_mass, settings)[:, None]
    for pair, marks in enumerate(PAIRS):
        about_trunk = found.pair_xy[:, pair] - trunk
        path = sides_in_pieces(seen.t_s, about_trunk, found.pair_mass[:, pair], length_px=length_px, settings=settings)
        xy[:, marks], mass[:, marks], side_score[:, pair] = path.xy_px + trunk, path.mass, path.score
        hidden[:, marks[1]] = path.shared
    xy[mass < settings.nothing_mass] = np.nan
    hidden |= mass < settings.hidden_mass
    score = network.calibrated(mass)
    for pair, marks in enumerate(PAIRS):
        score[:, marks] *= side_score[:, pair, None]
    return Tracks(seen.frame, seen.t_s, xy, np.where(np.isfinite(xy[..., 0]), score, 0.0), hidden, side_score)


def sides_in_pieces(
    t_s: FloatArray, xy_px: FloatArray, mass: FloatArray, *, length_px: float, settings: ReadSettings = ReadSettings()
) -> SidePath:
    """As ``decide_sides``, (T,) s, (T, C, 2) px, (T, C, 2) 0..1; long clips in pieces that look beyond their ends."""
    parts = []
    for first in range(0, max(len(t_s) - settings.side_margin, 1), settings.side_frames):
        # what would remain after the last piece and is no longer than the margin belongs to it
        rest = len(t_s) - first - settings.side_frames <= settings.side_margin
        last = len(t_s) if rest else first + settings.side_frames
        start = max(first - settings.side_margin, 0)
        rows = slice(start, last + settings.side_margin)
        path = decide_sides(t_s[rows], xy_px[rows], mass[rows], length_px=length_px, settings=settings.sides)
        parts.append([getattr(path, name)[first - start : last - start] for name in SidePath.__dataclass_fields__])
    return SidePath(*(np.concatenate(columns) for columns in zip(*parts, strict=True)))


def _no_dog(name: str) -> NoDogError:
    return NoDogError(
        f"No dog was found in {name}. Film the whole dog from the side, with light on it, at least a tenth of the "
        "picture wide; turn the picture with --rotate if it lies on its side."
    )


def _too_short(name: str, frames: int, settings: ReadSettings) -> TooShortError:
    return TooShortError(
        f"{name} holds {frames} frames; at least {settings.least_frames} are needed to see movement, and a few "
        "seconds to see strides. Give a longer clip."
    )
