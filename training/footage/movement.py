"""Movement: footfall patterns become touchdown and lift-off times, paw paths and the trunk's travel.

Lengths are shares of withers height, times in seconds. Ranges of duty factor and limb phase follow
Hildebrand 1968 (J Morphol 124:353) and Maes 2008 (J Exp Biol 211:138), as quoted by others, papers
not opened; ranges of the rest are our own drawing choices.
"""

from dataclasses import dataclass, replace

import numpy as np

from pose.tracks import BoolArray, FloatArray, IntArray

GAITS = ("walk", "amble", "pace", "trot", "canter", "gallop")
#: gait: duty factor hind, fore minus hind duty, limb phase near, hind lag, fore lag, stride time of a dog 0.55 m high,
#: stance travel as share of withers height, height of a swinging paw, bounce of the trunk
# fmt: off
_RANGES: dict[str, tuple[tuple[float, float], ...]] = {
    "walk": (
        (0.56, 0.72), (-0.02, 0.06), (0.13, 0.34), (0.48, 0.52), (0.48, 0.52),
        (0.62, 1.05), (0.5, 0.8), (0.06, 0.15), (0.002, 0.012),
    ),
    "amble": (
        (0.54, 0.62), (-0.02, 0.04), (0.03, 0.09), (0.48, 0.52), (0.48, 0.52),
        (0.55, 0.8), (0.5, 0.8), (0.07, 0.15), (0.003, 0.012),
    ),
    "pace": (
        (0.38, 0.46), (-0.02, 0.03), (-0.06, 0.06), (0.48, 0.52), (0.48, 0.52),
        (0.45, 0.62), (0.5, 0.8), (0.08, 0.16), (0.004, 0.016),
    ),
    "trot": (
        (0.36, 0.48), (-0.02, 0.05), (0.43, 0.55), (0.48, 0.52), (0.48, 0.52),
        (0.42, 0.58), (0.5, 0.85), (0.08, 0.18), (0.008, 0.03),
    ),
    "canter": (
        (0.32, 0.42), (-0.03, 0.03), (0.44, 0.52), (0.24, 0.32), (0.25, 0.33),
        (0.4, 0.52), (0.6, 0.85), (0.1, 0.2), (0.015, 0.05),
    ),
    "gallop": (
        (0.2, 0.3), (-0.03, 0.03), (0.55, 0.7), (0.12, 0.2), (0.12, 0.22),
        (0.34, 0.45), (0.65, 0.9), (0.12, 0.22), (0.02, 0.06),
    ),
}
# fmt: on


@dataclass(frozen=True, slots=True)
class Pattern:
    """One footfall pattern. Shares of the stride, except stride_s (s), travel, lift, bounce (withers heights)."""

    gait: str
    duty_hind: float
    duty_fore: float
    limb_phase: float
    hind_lag: float
    fore_lag: float
    stride_s: float
    travel: float
    lift: float
    bounce: float

    def phases(self) -> FloatArray:
        """(4,) touchdown of each paw after that of the near hind paw, shares of the stride."""
        far_fore = self.limb_phase + self.fore_lag
        return np.array([self.limb_phase, far_fore, 0.0, self.hind_lag])

    def duties(self) -> FloatArray:
        """(4,) duty factor of each paw."""
        return np.array([self.duty_fore, self.duty_fore, self.duty_hind, self.duty_hind])


def draw_pattern(rng: np.random.Generator, gait: str, withers_m: float) -> Pattern:
    """A random pattern of that gait for a dog of that height (m)."""
    duty, more, phase, hind, fore, stride, travel, lift, bounce = (float(rng.uniform(*r)) for r in _RANGES[gait])
    if gait == "canter":
        phase = hind + float(rng.uniform(-0.02, 0.02))  # three beats: the near fore lands with the far hind
    scaled = (
        stride * (withers_m / 0.55) ** 0.5
    )  # pendulum scaling of time with height (Hof 1996, from memory, not read)
    return Pattern(gait, duty, duty + more, phase, hind, fore, scaled, travel, lift, bounce)


@dataclass(frozen=True, slots=True)
class Movement:
    """What the dog does over time.

    touchdown_s, liftoff_s  four arrays (N,) each; stride_s (M,) starts of the near hind's strides with ``gaits`` (M,)
    speed    withers heights per s, of the belt
    patterns (M,) one per stride; reach0 (4,) where each paw's stance is centred, ahead of the trunk's middle
    drift    amplitude (withers heights) and period (s) of the slow travel along the belt
    """

    touchdown_s: tuple[FloatArray, ...]
    liftoff_s: tuple[FloatArray, ...]
    stride_s: FloatArray
    patterns: tuple[Pattern, ...]
    speed: float
    reach0: FloatArray
    drift: tuple[float, float]

    def trunk_x(self, t_s: FloatArray | float) -> FloatArray:
        """(...) place of the trunk along the belt at t_s (...), withers heights."""
        return np.asarray(self.drift[0] * np.sin(2 * np.pi * t_s / self.drift[1]))

    def strides_at(self, t_s: FloatArray | float) -> IntArray:
        """(...) number of the near hind stride at t_s (...)."""
        found = np.searchsorted(self.stride_s, t_s, side="right") - 1
        return np.asarray(np.clip(found, 0, len(self.patterns) - 1))

    def per_stride(self, name: str) -> FloatArray:
        """(M,) a number of the patterns."""
        return np.array([getattr(pattern, name) for pattern in self.patterns], dtype=float)

    def paw(self, p: int, t: float) -> tuple[float, float, float, bool]:
        """x, height (withers heights), share of stance or swing done, and whether the paw is down, at t (s)."""
        x, high, share, down = self.paw_over(p, np.array([t]))
        return float(x[0]), float(high[0]), float(share[0]), bool(down[0])

    def paw_over(self, p: int, t_s: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, BoolArray]:
        """The same at t_s (T,), an array (T,) each."""
        td, lo = self.touchdown_s[p], self.liftoff_s[p]
        k = np.clip(np.searchsorted(td, t_s, side="right") - 1, 0, len(td) - 2)
        down, span = t_s <= lo[k], td[k + 1] - lo[k]
        s = np.where(down, 0.0, (t_s - lo[k]) / span)
        x = np.where(down, self._stance_x(p, k, t_s), self._swing_x(p, k, s, span))
        return x, self._height(t_s, s), np.where(down, (t_s - td[k]) / (lo[k] - td[k]), s), down

    def _stance_x(self, p: int, k: IntArray, t_s: FloatArray) -> FloatArray:
        td, lo = self.touchdown_s[p][k], self.liftoff_s[p][k]
        land = self.trunk_x(td) + self.reach0[p] + self.speed * (lo - td) / 2
        return np.asarray(land - self.speed * (t_s - td))

    def _swing_x(self, p: int, k: IntArray, s: FloatArray, span: FloatArray) -> FloatArray:
        """Cubic from lift-off to the next touchdown that leaves and meets the belt at belt speed."""
        a = self._stance_x(p, k, self.liftoff_s[p][k])
        b = self._stance_x(p, k + 1, self.touchdown_s[p][k + 1])
        m = -self.speed * span * 0.6
        return np.asarray(
            a * (2 * s**3 - 3 * s**2 + 1) + m * (s**3 - 2 * s**2 + s) + b * (3 * s**2 - 2 * s**3) + m * (s**3 - s**2)
        )

    def _height(self, t_s: FloatArray, s: FloatArray) -> FloatArray:
        lift = self.per_stride("lift")[self.strides_at(t_s)]
        return np.asarray(lift * np.sin(np.pi * s**0.85) ** 1.15)


def _plan_steps(plan: list[tuple[Pattern, int]]) -> list[Pattern]:
    """One pattern per stride; a change of gait passes through one stride half way."""
    steps: list[Pattern] = []
    for pattern, count in plan:
        if steps and steps[-1].gait != pattern.gait:
            steps.append(_half_way(steps[-1], pattern))
        steps += [pattern] * count
    return steps


def _half_way(a: Pattern, b: Pattern) -> Pattern:
    names = ("duty_hind", "duty_fore", "limb_phase", "hind_lag", "fore_lag", "stride_s", "travel", "lift", "bounce")
    return replace(b, gait="change", **{n: (getattr(a, n) + getattr(b, n)) / 2 for n in names})


def move(
    rng: np.random.Generator, plan: list[tuple[Pattern, int]], *, rest_x: FloatArray, spread: float = 0.012
) -> Movement:
    """The movement that follows ``plan`` (pattern, strides) after one lead-in stride.

    rest_x  (4,) withers heights, where each paw stands under the resting dog
    spread  SD of event times, share of the stride
    """
    steps = _plan_steps(plan)
    steps = [steps[0], *steps, steps[-1], steps[-1]]
    lengths = np.array([p.stride_s for p in steps]) * (1 + spread * rng.standard_normal(len(steps)))
    starts = np.concatenate([[0.0], np.cumsum(lengths)[:-1]]) - lengths[0]
    touch, lift = _events(rng, steps, starts, lengths, spread)
    first = plan[0][0]
    speed = first.travel / (first.duty_hind * first.stride_s)
    drift = (float(rng.uniform(0.0, 0.08)), float(rng.uniform(3.0, 8.0)))
    return Movement(touch, lift, starts, tuple(steps), speed, rest_x + rng.uniform(-0.04, 0.03, 4).mean(), drift)


def _events(
    rng: np.random.Generator, steps: list[Pattern], starts: FloatArray, lengths: FloatArray, spread: float
) -> tuple[tuple[FloatArray, ...], tuple[FloatArray, ...]]:
    phases = np.array([p.phases() for p in steps])
    duties = np.array([p.duties() for p in steps])
    jitter = spread * rng.standard_normal((len(steps), 4, 2))
    jitter[:, 2, 0] = 0.0
    touch = starts[:, None] + (phases + jitter[..., 0]) * lengths[:, None]
    lift = touch + (duties + jitter[..., 1]) * lengths[:, None]
    lift[:-1] = np.minimum(lift[:-1], touch[1:] - 0.12 * lengths[:-1, None])
    return tuple(touch[:, p] for p in range(4)), tuple(lift[:, p] for p in range(4))
