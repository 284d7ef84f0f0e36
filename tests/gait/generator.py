"""A dog in closed form: a footfall pattern becomes landmark tracks whose contacts are known exactly."""

from dataclasses import dataclass, field

import numpy as np

from gait.footfalls import footfalls_of
from gait.naming import NamingSettings, name_strides
from gait.nouns import Contacts
from gait.rows import list_rows
from pose.landmarks import CROUP, WITHERS
from pose.tracks import FloatArray, Tracks

#: Paths of a swing, share of the stride length done at share s of the swing time, by how a paw leaves the belt.
SWINGS = {
    "soft": lambda s: s - np.sin(2 * np.pi * s) / (2 * np.pi),
    "even": lambda s: 3 * s**2 - 2 * s**3,
    "hard": lambda s: 0.35 * s + 0.65 * (3 * s**2 - 2 * s**3),
}
#: Heights of a swinging paw, share of its greatest height.
LIFTS = {
    "soft": lambda s: np.sin(np.pi * s) ** 2,
    "even": lambda s: np.sin(np.pi * s) ** 1.4,
    "hard": lambda s: np.sin(np.pi * s),
}


@dataclass(frozen=True)
class Pattern:
    """Shares of the stride, except stride_s (s) and travel (body lengths of belt per stance of the hind paws)."""

    stride_s: float = 0.7
    duty_hind: float = 0.62
    duty_fore: float = 0.62
    limb_phase: float = 0.2
    hind_lag: float = 0.5
    fore_lag: float = 0.5
    travel: float = 0.9

    def touchdowns(self) -> FloatArray:
        """(4,) shares of the stride after the near hind's touchdown, order near fore, far fore, near hind, far hind."""
        return np.array([self.limb_phase, self.limb_phase + self.fore_lag, 0.0, self.hind_lag])

    def duties(self) -> FloatArray:
        return np.array([self.duty_fore, self.duty_fore, self.duty_hind, self.duty_hind])


WALK = Pattern()
AMBLE = Pattern(0.62, 0.56, 0.57, 0.08)
PACE = Pattern(0.55, 0.44, 0.45, 0.02)
TROT = Pattern(0.5, 0.42, 0.45, 0.45)
WALKING_TROT = Pattern(0.55, 0.58, 0.58, 0.47, travel=0.8)
CANTER = Pattern(0.45, 0.38, 0.38, 0.30, 0.30, 0.30, 0.9)
TRANSVERSE = Pattern(0.38, 0.26, 0.26, 0.55, 0.14, 0.15, 1.0)
ROTARY = Pattern(0.36, 0.26, 0.26, 0.66, 0.14, -0.15, 1.0)
HALF_BOUND = Pattern(0.36, 0.28, 0.28, 0.5, 0.02, 0.17, 1.0)
BOUND = Pattern(0.36, 0.28, 0.28, 0.5, 0.02, 0.03, 1.0)


@dataclass(frozen=True)
class Scene:
    """How the dog is filmed. Lengths in px unless named otherwise; names ending in _bl in body lengths.

    drift_bl  amplitude of the trunk's sway; back_bl  how far it falls back in the middle third of the clip
    ramp      the belt's speed changes from start s to stop s by a factor
    yaw_deg   how far the camera is off square; then it stands camera_bl off, eye_bl over the belt, and perspective
              takes the place of far_scale and far_rise_bl; width_bl lies between near and far paws
    """

    fps: float = 60.0
    seconds: float = 8.0
    facing: str = "right"
    length_px: float = 160.0
    noise_bl: float = 0.0
    far_scale: float = 0.92
    far_rise_bl: float = 0.10
    slope_deg: float = 0.0
    drift_bl: float = 0.0
    bounce_bl: float = 0.02
    croup_high_bl: float = 0.03
    swing: str = "even"
    lift_bl: float = 0.13
    start_s: float = 0.0
    uneven: float = 0.0
    spread: float = 0.0
    pan_px_s: float = 0.0
    back_bl: float = 0.0
    ramp: tuple[float, float, float] = (0.0, 1.0, 1.0)
    yaw_deg: float = 0.0
    camera_bl: float = 6.0
    eye_bl: float = 1.3
    width_bl: float = 0.35
    seed: int = 0


@dataclass(frozen=True)
class Truth:
    """What is known of the drawn dog. touchdown_s, liftoff_s: four arrays (s); speed_px_s (2,)."""

    touchdown_s: list[FloatArray]
    liftoff_s: list[FloatArray]
    speed_px_s: FloatArray
    patterns: list[Pattern] = field(default_factory=list)
    starts_s: FloatArray = field(default_factory=lambda: np.empty(0))


def dog(pattern: Pattern | list[tuple[Pattern, int]], scene: Scene = Scene()) -> tuple[Tracks, Truth]:
    """Tracks of a dog that moves in ``pattern``, or in one pattern after another for so many strides each."""
    rng = np.random.default_rng(scene.seed)
    patterns, starts = _plan(pattern, scene, rng)
    t = _times(scene, rng, patterns, starts, isinstance(pattern, list))
    speed_bl = patterns[1].travel / (patterns[1].duty_hind * patterns[1].stride_s)
    touch, lift = _events(patterns, starts, scene, rng)
    xy = np.zeros((len(t), 6, 2))
    trunk = _trunk(t, scene)
    for paw in range(4):
        xy[:, paw] = _paw(t, touch[paw], lift[paw], (speed_bl, 0.45 if paw < 2 else -0.5), scene)
    bounce = scene.bounce_bl * np.sin(4 * np.pi * np.interp(t, starts, np.arange(len(starts))))
    xy[:, WITHERS] = np.stack([trunk + 0.5, 0.95 + bounce], axis=1)
    xy[:, CROUP] = np.stack([trunk - 0.5, 0.95 + scene.croup_high_bl + bounce], axis=1)
    tracks = _film(t, xy, scene, rng)
    scale = scene.length_px * np.array([1.0, scene.far_scale])
    return tracks, Truth(touch, lift, speed_bl * scale + scene.pan_px_s, patterns, starts)


def exact_place(truth: Truth, paw: int, t_s: FloatArray, scene: Scene) -> tuple[FloatArray, FloatArray]:
    """Places along the belt (T,) of a paw and of the trunk at any time, filmed from square, body lengths, no noise."""
    pattern = truth.patterns[1]
    speed_bl = pattern.travel / (pattern.duty_hind * pattern.stride_s)
    place = speed_bl, 0.45 if paw < 2 else -0.5
    path = _paw(t_s, truth.touchdown_s[paw], truth.liftoff_s[paw], place, scene)
    return path[:, 0] * (scene.far_scale if paw % 2 else 1.0), _trunk(t_s, scene)


def _plan(
    pattern: Pattern | list[tuple[Pattern, int]], scene: Scene, rng: np.random.Generator
) -> tuple[list[Pattern], FloatArray]:
    if isinstance(pattern, Pattern):
        pattern = [(pattern, int(scene.seconds / pattern.stride_s) + 2)]
    steps = [p for p, count in pattern for _ in range(count)]
    steps = [steps[0], steps[0], *steps, steps[-1], steps[-1]]
    lengths = np.array([p.stride_s for p in steps]) * (1 + scene.spread * rng.standard_normal(len(steps)))
    starts = np.concatenate([[0.0], np.cumsum(lengths)]) - lengths[0] - lengths[1]
    return steps, starts + scene.start_s


def _times(
    scene: Scene, rng: np.random.Generator, patterns: list[Pattern], starts: FloatArray, whole: bool
) -> FloatArray:
    seconds = starts[-3] - scene.start_s if whole else scene.seconds
    t = np.arange(int(seconds * scene.fps)) / scene.fps + scene.start_s
    return t + scene.uneven / scene.fps * rng.uniform(-0.5, 0.5, len(t))


def _events(
    patterns: list[Pattern], starts: FloatArray, scene: Scene, rng: np.random.Generator
) -> tuple[list[FloatArray], list[FloatArray]]:
    """Touchdowns and lift-offs of the four paws (s), with ``spread`` of a stride as scatter."""
    length = np.diff(starts)[:, None]
    phase = np.array([p.touchdowns() for p in patterns]) + scene.spread * rng.standard_normal((len(patterns), 4))
    duty = np.array([p.duties() for p in patterns]) + scene.spread * rng.standard_normal((len(patterns), 4))
    touch = starts[:-1, None] + phase * length
    lift = touch + duty * length
    lift[:-1] = np.minimum(lift[:-1], touch[1:] - 0.1 * length[:-1])
    return list(touch.T), list(lift.T)


def _paw(t: FloatArray, touch: FloatArray, lift: FloatArray, place: tuple[float, float], scene: Scene) -> FloatArray:
    """(T, 2) body lengths, forward and up."""
    speed, centre = place
    k = np.clip(np.searchsorted(touch, t, side="right") - 1, 0, len(touch) - 2)
    print_at = _print(touch, lift, speed, centre, scene)
    s = np.clip((t - lift[k]) / (touch[k + 1] - lift[k]), 0.0, 1.0)
    belt = print_at[k] + (print_at[k + 1] - print_at[k]) * SWINGS[scene.swing](s)
    return np.stack([belt - speed * _course(t, scene), scene.lift_bl * LIFTS[scene.swing](s)], axis=1)


def _print(touch: FloatArray, lift: FloatArray, speed: float, centre: float, scene: Scene) -> FloatArray:
    """(N,) prints in belt coordinates: each stance lies evenly about the paw's place under the drifting trunk."""
    middle = (touch + lift) / 2
    return centre + _trunk(middle, scene) + speed * _course(middle, scene)


def _trunk(t: FloatArray, scene: Scene) -> FloatArray:
    """Place of the trunk along the belt, body lengths: it sways, and falls back in the middle third of the clip."""
    s = np.clip(3 * (t - scene.start_s) / scene.seconds - 1, 0.0, 1.0)
    return scene.drift_bl * np.sin(2 * np.pi * t / 3.1) - scene.back_bl * s**2 * (3 - 2 * s)


def _course(t: FloatArray, scene: Scene) -> FloatArray:
    """How far the belt has run by time ``t``, in seconds of its first speed."""
    start, stop, factor = scene.ramp
    inside = np.clip(t - start, 0.0, stop - start)
    return t + (factor - 1) * (inside**2 / 2 / (stop - start) + np.maximum(t - stop, 0.0))


def _off_square(xy_bl: FloatArray, scene: Scene) -> FloatArray:
    """What a pinhole camera sees that stands to the front of square by ``yaw_deg``; the trunk's middle keeps its size.

    Depth grows away from the camera; the near paws lie half a width nearer than the trunk.
    """
    side = np.array([-1.0, 1.0, -1.0, 1.0, 0.0, 0.0]) * scene.width_bl / 2
    a = np.radians(scene.yaw_deg)
    along = xy_bl[..., 0] * np.cos(a) + side * np.sin(a)
    depth = scene.camera_bl - xy_bl[..., 0] * np.sin(a) + side * np.cos(a)
    shrink = scene.camera_bl / depth
    return np.stack([along * shrink, scene.eye_bl + (xy_bl[..., 1] - scene.eye_bl) * shrink], axis=-1)


def _film(t: FloatArray, xy_bl: FloatArray, scene: Scene, rng: np.random.Generator) -> Tracks:
    """The picture: far side smaller and higher, belt line sloping, noise, the dog's facing."""
    xy = xy_bl.copy()
    if scene.yaw_deg:
        xy = _off_square(xy, scene)
    else:
        xy[:, [1, 3]] *= scene.far_scale
        xy[:, [1, 3], 1] += scene.far_rise_bl
    xy += scene.noise_bl * rng.standard_normal(xy.shape)
    a = np.radians(scene.slope_deg)
    xy = xy @ np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    x = xy[..., 0] * (1.0 if scene.facing == "right" else -1.0) * scene.length_px + 320
    x -= scene.pan_px_s * (t - t[0])[:, None] * (1.0 if scene.facing == "right" else -1.0)
    y = 300 - xy[..., 1] * scene.length_px
    shape = (len(t), 6)
    return Tracks(np.arange(len(t)), t, np.stack([x, y], axis=-1), np.full(shape, np.nan), np.zeros(shape, dtype=bool))


def replaced(tracks: Tracks, **changes: object) -> Tracks:
    """``tracks`` with some of its arrays exchanged."""
    parts = {name: getattr(tracks, name) for name in ("frame", "t_s", "xy_px", "score", "hidden", "side_score")}
    return Tracks(**(parts | changes))  # type: ignore[arg-type]


def square_contacts(pattern: Pattern, *, strides: int = 8, sd_ms: float = 1.0, stride_px: float = 100.0) -> Contacts:
    """Contacts straight from the pattern, without any track: square waves, prints one stride length apart.

    The clip begins with the near hind's first touchdown and holds only whole contacts.
    """
    paw = np.repeat(np.arange(4), strides + 1)
    number = np.tile(np.arange(strides + 1), 4)
    touch = (number + pattern.touchdowns()[paw] % 1.0) * pattern.stride_s
    lift = touch + pattern.duties()[paw] * pattern.stride_s
    size = len(paw)
    return Contacts(
        paw=paw,
        touchdown_s=touch,
        liftoff_s=lift,
        touchdown_sd_ms=np.full(size, sd_ms),
        liftoff_sd_ms=np.full(size, sd_ms),
        confidence=np.ones(size),
        truncated=np.zeros(size, dtype=bool),
        print_px=touch / pattern.stride_s * stride_px,
    )


def name_of(pattern: Pattern, *, sd_ms: float = 1.0) -> str:
    """The name that most strides of the near hind get, straight from square contacts."""
    contacts = square_contacts(pattern, sd_ms=sd_ms)
    rows = list_rows(contacts)
    hind = np.flatnonzero((rows.paw == 2) & np.isfinite(rows.end_s))
    names = name_strides(footfalls_of(contacts, rows, hind[1:-1]), NamingSettings())
    words, counts = np.unique(names.gait, return_counts=True)
    return str(words[np.argmax(counts)])
