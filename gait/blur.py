"""How far each measure of a stride can be off for the noise of its landmarks and of the belt's speed."""

from dataclasses import dataclass

import numpy as np

from gait.belt import Stances
from gait.body import FORWARD, UP, Body, noise_of
from gait.contacts import Scene
from gait.nouns import Belt
from gait.phases import smooth_gain
from gait.rows import Rows
from pose.landmarks import CROUP, WITHERS
from pose.tracks import FloatArray

#: 1, SD of a median against that of a mean (normal noise, sqrt(pi / 2), derived).
_MEDIAN = 1.2533
#: 1, SD of the highest of the two or three frames at the turn of a paw against that of one (order statistics of normal
#: noise: 0.83 of two, 0.75 of three; derived).
_HIGHEST = 0.8
#: 1, part of a stance whose frames make its print (see gait.contacts).
_PRINT_PART = 2 / 3


@dataclass(frozen=True, slots=True, eq=False)
class Noise:
    """What blurs. All SDs.

    paw_px, trunk_px  (2,) px forward and up, of a paw and of the withers or the croup; wider where neighbouring
                      frames err alike
    smooth            1, what smoothing leaves of them
    corner_px         (2,) px near and far, how far smoothing rounds off the turn of a paw from swing to belt: a local
                      parabola of width w takes w |dv| / 5 off a corner where the speed changes by dv (derived), and dv
                      lies anywhere from 0, an early turn, to the belt's speed; both turns of a paw are alike
    slope_deg         deg, of the belt line
    belt              (2,) 1, of the belt's speed near and far, shares of it
    """

    paw_px: FloatArray
    trunk_px: FloatArray
    smooth: float
    corner_px: FloatArray
    slope_deg: float
    belt: FloatArray


def noise_in(scene: Scene, stances: Stances, belt: Belt, width_s: float) -> Noise:
    """The noise of a clip; width_s s, of the local fits."""
    body = scene.body
    white = max(noise_of(body), 1e-6 * body.length_px)
    alike = np.clip(scene.noise_px / white, 1.0, 3.0)  # neighbours of a trunk point err alike as a paw's do
    trunk = np.array([_white(body.xy_px[:, [WITHERS, CROUP], axis], body.length_px) for axis in (FORWARD, UP)])
    smooth = np.sqrt(smooth_gain(width_s, body.frame_s))
    share = belt.speed_sd_px_s / belt.speed_px_s
    share = np.where(np.isfinite(share), share, 0.0)
    corner = width_s * belt.speed_px_s / (5 * np.sqrt(3))
    return Noise(scene.noise_px, trunk * alike, float(smooth), corner, _slope_deg(scene, stances), share)


def _white(values: FloatArray, length_px: float) -> float:
    """px, SD of white noise from third differences (see gait.body.noise_of), of all of them: a trunk has no steps."""
    third = np.abs(np.diff(values, n=3, axis=0))
    third = third[np.isfinite(third)]
    return 1.4826 * float(np.median(third)) / np.sqrt(20) if len(third) else 0.02 * length_px


def _slope_deg(scene: Scene, stances: Stances) -> float:
    """deg, SD of one slope through all standing paws: noise / sqrt(sum of squared distances from their middle)."""
    t, total = scene.body.t_s, 0.0
    for side in (0, 1):
        mine = stances.paw % 2 == side
        if mine.any():
            middle = (stances.first[mine] + stances.last[mine]) // 2
            x = scene.body.xy_px[middle, stances.paw[mine], FORWARD]
            x = np.where(np.isfinite(x), x, np.nanmean(x) if np.isfinite(x).any() else 0.0)
            frames = 0.6 * (stances.last[mine] - stances.first[mine] + 1)
            travel = _speed(scene, stances, mine) * 0.6 * (t[stances.last[mine]] - t[stances.first[mine]])
            total += float((frames * ((x - x.mean()) ** 2 + travel**2 / 12)).sum())
    return float(np.degrees(scene.noise_px[1] / np.sqrt(total))) if total > 0 else 0.0


def _speed(scene: Scene, stances: Stances, mine: FloatArray) -> float:
    """px/s, median speed of the standing paws of one side."""
    middle = (stances.first[mine] + stances.last[mine]) // 2
    speed = scene.body.slope_px_s[middle, stances.paw[mine], FORWARD]
    speed = speed[np.isfinite(speed)]
    return float(np.median(np.abs(speed))) if len(speed) else 0.0


def without_noise(body: Body, columns: dict[str, FloatArray], noise: Noise) -> dict[str, FloatArray]:
    """Ranges of the back (R,) without what noise alone would span, taken out in quadrature.

    The expected range of n normal values is close to 2 sqrt(2 ln n) SD less a fifth (Tippett's table: 4.1 at n = 30,
    4.6 at 60; from memory, not read).
    """
    frames = np.maximum(np.nan_to_num(columns["stride_time_s"], nan=1.0) / body.frame_s, 2.0)
    span = 0.8 * 2 * np.sqrt(2 * np.log(frames)) * noise.smooth * noise.trunk_px[1] / body.length_px
    found = {"topline_range_deg": np.degrees(np.sqrt(2) * span)}
    found |= {f"{point}_excursion_bl": span for point in ("withers", "croup")}
    return {name: np.sqrt(np.maximum(columns[name] ** 2 - span**2, 0.0)) for name, span in found.items()}


def topline_spreads(body: Body, rows: Rows, columns: dict[str, FloatArray], noise: Noise) -> dict[str, FloatArray]:
    """SDs of the measures of the back."""
    time = columns["stride_time_s"]
    frames = np.maximum(time / body.frame_s, 1.0)
    ahead, up = noise.trunk_px / body.length_px
    found = {
        "topline_deg": np.hypot(np.degrees(np.sqrt(2 / frames) * up), noise.slope_deg),
        "topline_range_deg": np.degrees(2 * up * noise.smooth) * np.ones_like(time),
        "place_bl": ahead / np.sqrt(2 * frames),
        "drift_bl_s": ahead / np.sqrt(2 * frames) * np.sqrt(12) / time,
    }
    for point in ("withers", "croup"):
        range_bl = columns[f"{point}_excursion_bl"]
        found[f"{point}_excursion_bl"] = np.sqrt(2) * up * noise.smooth * np.ones_like(time)
        found[f"{point}_second_share"] = _share_sd(columns[f"{point}_second_share"], range_bl / 2, up, frames)
    return {name: np.where(np.isfinite(columns[name]), sd, np.nan) for name, sd in found.items()}


def _share_sd(share: FloatArray, swing: FloatArray, noise: float, frames: FloatArray) -> FloatArray:
    """SD of a wave's share of all waves' power, for noise of the points; swing: amplitude of the whole movement."""
    one = 2 * noise**2 / frames / np.maximum(swing, 1e-9) ** 2  # squared SD of a wave's amplitude, shares of the swing
    return np.asarray(np.sqrt(4 * one * share * (1 - share) + one**2))


def common_spreads(noise: Noise) -> dict[str, float]:
    """SDs that all strides of a clip have in common: every angle is taken against one belt line."""
    return dict.fromkeys(("topline_deg", "protraction_deg", "retraction_deg"), noise.slope_deg)


def length_spreads(
    rows: Rows,
    columns: dict[str, FloatArray],
    sds: dict[str, FloatArray],
    noise: Noise,
    scale: tuple[FloatArray, FloatArray, float],
) -> dict[str, FloatArray]:
    """SDs of lengths, speeds and reach. scale: px per bl and m per px (R,) of each row's side; frame time s."""
    bl, metre, frame_s = scale
    side = rows.paw % 2
    print_px = _MEDIAN * noise.paw_px[0] / np.sqrt(np.maximum(_PRINT_PART * columns["stance_s"] / frame_s, 1.0))
    length = columns["stride_length_bl"]
    both = np.hypot(*noise.belt) / 2
    length_bl = np.hypot(np.sqrt(2) * print_px / bl, length * both)  # bl are scaled by the mean of both sides
    length_m = np.sqrt(2) * print_px * metre  # metres come from the same belt speed, whose error cancels
    late = sds["stride_time_s"] / columns["stride_time_s"]
    speed_m = columns["speed_m_s"] * np.hypot(length_m / columns["stride_length_m"], late)
    own = columns["speed_dimensionless"]
    reach_px = _HIGHEST * noise.smooth * np.hypot(noise.paw_px[0], noise.trunk_px[0] / np.sqrt(2))
    reach_px = np.hypot(np.sqrt(2) * reach_px, 2 * noise.corner_px[side])
    up_px = np.hypot(
        np.sqrt(2) * print_px, length * bl / columns["stride_time_s"] * noise.belt[side] * columns["stance_s"]
    )
    found = {
        "stride_length_bl": length_bl,
        "stride_length_m": length_m,
        "speed_bl_s": columns["speed_bl_s"] * np.hypot(length_bl / length, late),
        "speed_m_s": speed_m,
        "speed_dimensionless": own * speed_m / columns["speed_m_s"],
        "froude": 2 * own**2 * speed_m / columns["speed_m_s"],
        "reach_bl": np.hypot(reach_px / bl, columns["reach_bl"] * both),
        "reach_m": np.hypot(reach_px * metre, columns["reach_m"] * noise.belt[side]),
        "tracking_up_bl": up_px / bl,
        "tracking_up_m": up_px * metre,
    }
    ratio, hind = columns["reach_ratio"], columns["reach_bl"]
    found["reach_ratio"] = reach_px / bl * np.sqrt(1 + ratio**2) / hind
    return {name: np.where(np.isfinite(columns[name]), sd, np.nan) for name, sd in found.items()}


@dataclass(frozen=True, slots=True, eq=False)
class LimbBlur:
    """angle_deg (R,) deg, SD of a limb's angle at one instant; height_px (R,) px, of its upper end over the paw."""

    angle_deg: FloatArray
    height_px: FloatArray


def limb_blur(body: Body, rows: Rows, noise: Noise) -> LimbBlur:
    """The noise of a limb's two ends as an angle."""
    line = body.smooth_px[:, :4] - body.smooth_px[:, [WITHERS, WITHERS, CROUP, CROUP]]
    height = np.array([_usual(np.abs(line[:, paw, UP])) for paw in range(4)])[rows.paw]
    blur = noise.smooth * np.hypot(noise.paw_px[0], noise.trunk_px[0])
    return LimbBlur(np.degrees(blur / height), height)


def _usual(values: FloatArray) -> float:
    values = values[np.isfinite(values)]
    return max(float(np.median(values)), 1e-9) if len(values) else float("nan")
