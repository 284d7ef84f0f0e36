"""Body axes: X forward along the belt, Y up square to it, mirrored once at the door (Wu & Cavanagh 1995)."""

from dataclasses import dataclass, field, replace

import numpy as np

from gait.errors import TooFewStridesError
from gait.trial import Facing
from pose.landmarks import CROUP, WITHERS
from pose.tracks import BoolArray, FloatArray, Tracks, repeated_frames

FORWARD, UP = 0, 1

#: 1, weight from which a point counts as seen: above any hidden point's, below any other's (see BodySettings).
SEEN = 0.15


@dataclass(frozen=True, slots=True)
class BodySettings:
    """What counts as a usable point.

    least_score     0..1, below it a point is as good as missing; common practice, no source
    hidden_weight   1, weight of a point that was worked out and not seen: a third of the accuracy; common practice
    spike_sd        1, a lone jump by more than this many noise SD is a slip of the tracker; common practice
    spike_curve     body lengths x (frames per stride)^2: the sharpest honest bend of a paw's path. A swing of
                    1.5 body lengths in half a stride bends by 1.5 / 0.5 * 2 pi / 0.5 / 2 = 19 (derived); a third more
    least_frames    1, fewest frames with withers and croup that give a body length; common practice
    even_span       share of the stride over which a paw's speed is taken to judge how evenly paws go backward
    evener          1, the trunk is followed when speeds scatter less than this share of what they do in the picture:
                    drawn dogs on a belt before a still camera give 0.98 or more
    held_bl         body lengths, and when the trunk travels this far at least; our own choice
    travel_bl       body lengths, a dog that moves further through the picture is not on a belt (or the camera turns);
                    a belt for dogs is about three body lengths long, so 1.5 from end to end at most; common practice
    jolt_bl         body lengths, where smoothing the trunk's travel once more moves it by this much, it changes too
                    fast to be taken out: a hand that follows with a period of 2.3 strides gives 0.02, a dog that
                    walks onto a running belt 0.06 (derived: speed x stride time / 24)
    """

    least_score: float = 0.2
    hidden_weight: float = 0.1
    spike_sd: float = 6.0
    spike_curve: float = 25.0
    least_frames: int = 6
    even_span: float = 0.08
    evener: float = 0.9
    held_bl: float = 0.2
    travel_bl: float = 1.6
    jolt_bl: float = 0.04


@dataclass(frozen=True, slots=True, eq=False)
class Body:
    """The landmarks in body axes.

    t_s        (T,) s
    xy_px      (T, 6, 2) px, forward and up; NaN = missing
    weight     (T, 6) 0..1, 0 = missing
    trunk_px   (T, 2) px, middle of withers and croup, gaps bridged
    length_px  px, median withers-croup distance
    facing     "left" or "right"
    side_score (T, 2) 0..1, NaN = not judged
    angle_deg  deg, slope of the belt line that was taken out, + = rising forward
    held       True when the dog's travel through the picture was taken out, so that its place means nothing
    smooth_px, slope_px_s   (T, 6, 2) px and px/s, local fits once made; NaN where long missing
    unsteady   (T,) bool, frames in which the dog stands, or its travel changes too fast to be taken out; empty = none
    """

    t_s: FloatArray
    xy_px: FloatArray
    weight: FloatArray
    trunk_px: FloatArray
    length_px: float
    facing: Facing
    side_score: FloatArray
    angle_deg: float = 0.0
    held: bool = False
    smooth_px: FloatArray = field(default_factory=lambda: np.empty((0, 6, 2)))
    slope_px_s: FloatArray = field(default_factory=lambda: np.empty((0, 6, 2)))
    unsteady: BoolArray = field(default_factory=lambda: np.empty(0, dtype=bool))

    @property
    def seen(self) -> BoolArray:
        """(T, 6) bool, landmarks that were seen, neither missing nor worked out."""
        return np.asarray(self.weight >= SEEN)

    @property
    def frame_s(self) -> float:
        """s, median time between frames."""
        return float(np.median(np.diff(self.t_s)))

    @property
    def relative_px(self) -> FloatArray:
        """(T, 4) px, paws ahead of the middle of the trunk."""
        return np.asarray(self.xy_px[:, :4, FORWARD] - self.trunk_px[:, None, FORWARD])


def stand_up(tracks: Tracks, facing: Facing | None, settings: BodySettings) -> Body:
    """Tracks in body axes, the belt line taken as level for now.

    Raises TooFewStridesError when withers and croup are hardly ever seen together.
    """
    weight = _weights(tracks, settings)
    xy = np.where(weight[..., None] > 0, tracks.xy_px, np.nan)
    trunk_line = xy[:, WITHERS] - xy[:, CROUP]
    both = np.isfinite(trunk_line).all(axis=1)
    if both.sum() < settings.least_frames:
        raise TooFewStridesError(
            f"{int(both.sum())} frames show both withers and croup; at least {settings.least_frames} are needed. "
            "Film the whole dog from the side."
        )
    found: Facing = facing or ("right" if np.median(trunk_line[both, 0]) > 0 else "left")
    xy = xy * np.array([1.0 if found == "right" else -1.0, -1.0])
    length = float(np.median(np.hypot(*trunk_line[both].T)))
    if not length > 0:
        raise TooFewStridesError("Withers and croup lie on one point in most frames; check the landmark table.")
    return Body(tracks.t_s, xy, weight, _trunk(tracks.t_s, xy), length, found, tracks.side_score)


def found_facing(tracks: Tracks) -> Facing | None:
    """The side towards which withers lie ahead of croup in most frames; None when never seen together."""
    ahead = tracks.xy_px[:, WITHERS, 0] - tracks.xy_px[:, CROUP, 0]
    ahead = ahead[np.isfinite(ahead)]
    if not len(ahead):
        return None
    return "right" if np.median(ahead) > 0 else "left"


def level(body: Body, angle_deg: float) -> Body:
    """``body`` turned so that a belt line rising forward by ``angle_deg`` comes to lie level."""
    a = np.deg2rad(angle_deg)
    turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
    return replace(
        body,
        xy_px=body.xy_px @ turn,
        trunk_px=body.trunk_px @ turn,
        smooth_px=body.smooth_px @ turn,
        slope_px_s=body.slope_px_s @ turn,
        angle_deg=body.angle_deg + angle_deg,
    )


def drop_spikes(body: Body, noise_px: float, period_s: float, settings: BodySettings) -> Body:
    """``body`` without the lone jumps that no paw makes (weight 0, place NaN)."""
    per_stride = max(period_s / body.frame_s, 1.0)
    limit = max(settings.spike_sd * noise_px, settings.spike_curve * body.length_px / per_stride**2)
    jump = _bend(body.xy_px)
    wild = (jump > limit) & (jump >= _neighbours(jump)) & (jump > _stride_over(body.xy_px))
    xy = np.where(wild[..., None], np.nan, body.xy_px)
    return replace(body, xy_px=xy, weight=np.where(wild, 0.0, body.weight), trunk_px=_trunk(body.t_s, xy))


def hold_station(body: Body, period_s: float, settings: BodySettings) -> tuple[Body, bool]:
    """``body`` with its slow travel through the picture taken out, and whether it was.

    It is when it is too long for a belt, or when paws that go backward do so more evenly as seen from the trunk: then
    the camera follows the dog by hand.
    """
    slow = _slow(body, body.trunk_px[:, FORWARD], period_s)
    if np.ptp(slow) > settings.travel_bl * body.length_px:
        return _shifted(body, slow, period_s, settings), True
    slow = _slow(body, body.trunk_px[:, FORWARD], period_s / 2)  # most gaits rock the trunk twice in a stride
    held = _shifted(body, slow, period_s / 2, settings)
    steps = max(1, round(settings.even_span * period_s / body.frame_s))
    follows = np.ptp(slow) > settings.held_bl * body.length_px
    if follows and _unevenness(held, steps) < settings.evener * _unevenness(body, steps):
        return held, True
    return body, False


def _slow(body: Body, x_px: FloatArray, span_s: float) -> FloatArray:
    """(T,) px, places along the picture averaged over ``span_s`` s."""
    width = max(int(span_s / body.frame_s) | 1, 3)
    padded = np.pad(x_px, width // 2, mode="reflect", reflect_type="odd")
    return np.convolve(padded, np.ones(width) / width, "valid")


def _shifted(body: Body, slow_px: FloatArray, span_s: float, settings: BodySettings) -> Body:
    """``body`` without the travel ``slow_px`` (T,) px, which was averaged over ``span_s`` s."""
    shift = np.stack([slow_px - slow_px.mean(), np.zeros_like(slow_px)], axis=1)
    unsteady = np.abs(slow_px - _slow(body, slow_px, span_s)) > settings.jolt_bl * body.length_px
    xy, trunk = body.xy_px - shift[:, None], body.trunk_px - shift
    return replace(body, xy_px=xy, trunk_px=trunk, held=True, unsteady=unsteady)


def _unevenness(body: Body, steps: int) -> float:
    """1, robust scatter of the backward speeds of paws over so many frames, of those above half their median."""
    x = np.where(body.seen[:, :4], body.xy_px[:, :4, FORWARD], np.nan)
    back = (x[:-steps] - x[steps:]) / (body.t_s[steps:] - body.t_s[:-steps])[:, None]
    back = back[back > 0]
    if not len(back):
        return float("nan")
    back = back[back > np.median(back) / 2]
    return 1.4826 * float(np.median(np.abs(back - np.median(back)))) / float(np.median(back))


def noise_of(body: Body) -> float:
    """px, the landmarks' own noise per axis, from third differences (a smooth path has next to none).

    White noise of SD s has third differences of SD s * sqrt(20) (1, 3, 3, 1 squared and summed; derived).
    The quieter half of the frames is taken, where paws stand or the trunk glides.
    """
    third = np.abs(np.diff(body.xy_px, n=3, axis=0))
    third = third[np.isfinite(third)]
    if not len(third):
        return 0.02 * body.length_px
    quartile_of_normal = 0.3186  # 25 % of |z| lie below it
    return float(np.quantile(third, 0.25) / quartile_of_normal / np.sqrt(20))


def _weights(tracks: Tracks, settings: BodySettings) -> FloatArray:
    """(T, 6) 0..1."""
    score = np.where(np.isnan(tracks.score), 1.0, tracks.score)
    weight = np.where(tracks.hidden, settings.hidden_weight, 1.0) * np.clip(score, 0.0, 1.0)
    missing = ~np.isfinite(tracks.xy_px).all(axis=2) | (score < settings.least_score)
    missing |= repeated_frames(tracks.xy_px)[:, None]
    return np.where(missing, 0.0, weight)


def _trunk(t_s: FloatArray, xy: FloatArray) -> FloatArray:
    """(T, 2) middle of withers and croup, gaps bridged in a straight line."""
    middle = (xy[:, WITHERS] + xy[:, CROUP]) / 2
    seen = np.isfinite(middle).all(axis=1)
    return np.stack([np.interp(t_s, t_s[seen], middle[seen, axis]) for axis in (0, 1)], axis=1)


def _bend(xy: FloatArray) -> FloatArray:
    """(T, K) distance of each point from the middle of its two neighbours; 0 where unknown."""
    bend = np.zeros(xy.shape[:2])
    inner = xy[1:-1] - (xy[:-2] + xy[2:]) / 2
    bend[1:-1] = np.nan_to_num(np.sqrt((inner**2).sum(axis=2)), nan=0.0)
    return bend


def _stride_over(xy: FloatArray) -> FloatArray:
    """(T, K) distance between the two neighbours of each point: as long as the jump where a path steps for good."""
    gap = np.zeros(xy.shape[:2])
    gap[1:-1] = np.nan_to_num(np.sqrt(((xy[2:] - xy[:-2]) ** 2).sum(axis=2)), nan=0.0)
    return gap


def _neighbours(jump: FloatArray) -> FloatArray:
    """(T, K) the larger of the two neighbouring values."""
    padded = np.pad(jump, ((1, 1), (0, 0)))
    return np.maximum(padded[:-2], padded[2:])
