"""The mean path of a paw from lift-off to touchdown: all ways of leaving and landing, weighed by how well they fit."""

from dataclasses import dataclass

import numpy as np
from scipy.special import beta, betainc

from gait.spans import span_mean, span_median
from pose.tracks import BoolArray, FloatArray


@dataclass(frozen=True, slots=True)
class MeanSettings:
    """How a mean path is fitted. Our own choices unless said.

    bin, beyond   fast halves, width of the bins in which swings are averaged and how far they reach past either end
    hardest       1, most of its mean speed that a paw has at once, at either end
    usual, plain  1, means of the two numbers that tell how paws leave and land, and SD of either, before anything is
                  seen: a paw rolls as it leaves and so is moving, as in single events (see ContactSettings.along, with
                  three times their SD); it lands half way from there to at rest
    askew         SDs of what a camera off square adds to the way done: ways, 1 per way ahead of the trunk, and 1 / way
                  for its square: seen 12 deg off square, what is a way nearer looks 5 % larger (derived)
    scatter       ways, scatter of a mean path that ``askew`` is weighed against (measured with closed-form paths)
    tried         1, values tried of each of the two numbers, three times over, ever closer
    steps         1, corrections of lift-off and touchdown; three suffice
    part          share of the swing that the cubics describe to the fits of single events (see gait.contacts)
    peak          1, power that draws the weights of manners towards the likeliest for the mean path: a softer manner
                  with ends further out explains nearly as much, so that noise makes the plain mean too soft (measured
                  with closed-form paths)
    up, up_sd     prior mean and SD of the linear, square and cubic coefficient of the height, in heights of the swing:
                  midway between sin(pi s): (3.1, 0, -5) and sin(pi s)^1.4: (1.0, 5, -6) (derived)
    level, lump   heights of the swing, SD of the ground and of a bin of mean height about the cubic
    falls         1, powers of time with which a paw may come down: from on the move to at rest
    """

    bin: float = 0.1
    beyond: float = 3.0
    hardest: float = 0.75
    usual: tuple[float, float] = (-0.18, -0.09)
    plain: float = 0.36
    askew: tuple[float, float, float] = (0.02, 0.05, 0.05)
    scatter: float = 0.003
    tried: int = 8
    steps: int = 4
    part: float = 0.45
    peak: float = 2.0
    up: tuple[float, float, float] = (1.6, 3.0, -4.5)
    up_sd: tuple[float, float, float] = (0.9, 3.0, 4.0)
    level: float = 0.1
    lump: float = 0.03
    falls: tuple[float, ...] = (1.0, 1.25, 1.5, 1.75, 2.0)


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """Frames of swings, each measured by its own fast half and length.

    time    (M,) fast halves after the beginning of the fast half
    way     (M,) share of the way done, print to print
    ahead   (M,) ways, place ahead of the trunk
    high    (M,) swings, height over the ground as a share of that of a swing
    """

    time: FloatArray
    way: FloatArray
    ahead: FloatArray
    high: FloatArray

    def where(self, kept: BoolArray) -> "Course":
        """Those of the frames (M,) that are ``kept``."""
        return Course(self.time[kept], self.way[kept], self.ahead[kept], self.high[kept])


@dataclass(frozen=True, slots=True, eq=False)
class MeanCourse:
    """A course averaged in bins of time; number (B,) frames in each."""

    mean: Course
    number: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class MeanPath:
    """A mean swing as far as it is known.

    ends  (2,) fast halves, lift-off and touchdown, after the beginning of the fast half
    path  (2, 6) linear, square and cubic coefficient, by shares of the swing, of the way after lift-off [0] and of that
          still to go before touchdown [1], then those of the height
    root  (2, 6, 6) 1, how independent causes (SD 1) move these coefficients
    """

    ends: FloatArray
    path: FloatArray
    root: FloatArray


def path(share: FloatArray, leave: FloatArray, land: FloatArray) -> FloatArray:
    """Share of the way done, 0..1, at shares of the swing; all of shapes that go together. leave, land: how the paw
    leaves and lands. Below 0: with so much of its mean speed at once; from 0 on: from rest, the speed growing with the
    power 1 + it."""
    s = np.clip(share, 0.0, 1.0)
    first, last = np.maximum(-leave, 0.0), np.maximum(-land, 0.0)
    rest = betainc(2 + np.maximum(leave, 0.0), 2 + np.maximum(land, 0.0), s)
    return np.asarray((first * (2 * s - s**2) + last * s**2 + (2 - first - last) * rest) / 2)


def pace(share: FloatArray, leave: FloatArray, land: FloatArray) -> FloatArray:
    """1, speed of the same in shares of the way per swing; 0 before and after it."""
    s = np.clip(share, 0.0, 1.0)
    first, last = np.maximum(-leave, 0.0), np.maximum(-land, 0.0)
    a, b = 1 + np.maximum(leave, 0.0), 1 + np.maximum(land, 0.0)
    rest = s**a * (1 - s) ** b / beta(a + 1, b + 1)
    inside = (share > 0) & (share < 1)
    return np.where(inside, first * (1 - s) + last * s + (2 - first - last) * rest / 2, 0.0)


def averaged(course: Course, s: MeanSettings) -> MeanCourse:
    """Means in bins of time. Wild frames, further from the median of their bin than four spreads, are left out."""
    size = round((1 + 2 * s.beyond) / s.bin)
    place = np.floor((course.time + s.beyond) / s.bin)
    course, place = course.where((place >= 0) & (place < size)), place[(place >= 0) & (place < size)].astype(np.int64)
    off = np.abs(course.way - span_median(course.way, place, size)[place])
    near = off <= 4 * 1.4826 * span_median(off, place, size)[place]
    course, place = course.where(near), place[near]
    number = np.bincount(place, minlength=size)
    full = number > 0
    means = (span_mean(values, place, size)[full] for values in (course.time, course.way, course.ahead, course.high))
    return MeanCourse(Course(*means), number[full].astype(np.float64))


def known_path(course: MeanCourse, softest: float, s: MeanSettings, *, heights: bool) -> MeanPath:
    """All manners up to ``softest`` weighed by how well they explain the course: first far apart, then close to each
    other about the best. heights: whether these help to find the touchdown."""
    low, high = np.full(2, -s.hardest), np.full(2, softest)
    for _ in range(3):
        manner = np.stack(np.meshgrid(*(np.linspace(low[i], high[i], s.tried) for i in (0, 1))), axis=-1).reshape(-1, 2)
        ends, misfit, off = _fitted(course, manner, s)
        noise = max(float(misfit.min()) / max(len(course.number) - 6, 1), 1e-12) * _alike(off[np.argmin(misfit)])
        odds = (misfit.min() - misfit) / noise - (((manner - s.usual) / s.plain) ** 2).sum(axis=1)
        if heights:
            odds += _height_odds(course, ends, ends[np.argmin(misfit)], s)
        weight = np.exp(np.maximum(odds - odds.max(), -200.0) / 2)
        weight /= weight.sum()
        middle = weight @ manner
        reach = 3 * np.sqrt(weight @ (manner - middle) ** 2) + (high - low) / (s.tried - 1)
        low, high = np.maximum(low, middle - reach), np.minimum(high, middle + reach)
    near = weight**s.peak / (weight**s.peak).sum()
    mean = near @ ends
    stretch = np.ptp(mean) / np.ptp(ends, axis=1)
    paths, roots = np.empty((2, 6)), np.empty((2, 6, 6))
    for end in (0, 1):
        way = _cubic(manner, end, s.part) * stretch[:, None] ** _POWERS  # by shares of the mean swing
        each = np.concatenate([way, _rise(course, ends[:, end], mean, end, s)], axis=1)
        paths[end] = near @ each
        off = each - paths[end]
        value, axis = np.linalg.eigh(s.peak * (near[:, None] * off).T @ off)
        roots[end] = axis * np.sqrt(np.maximum(value, 0.0))
    return MeanPath(mean, paths, roots)


def _rise(course: MeanCourse, at: FloatArray, mean: FloatArray, end: int, s: MeanSettings) -> FloatArray:
    """(G, 3) coefficients of the height after lift-offs, or before touchdowns, at each of ``at`` (G,) fast halves, by
    shares of the mean swing, whose ends are ``mean`` (2,)."""
    share, weight = _shares(course, at, mean, end, s)
    terms = np.concatenate([np.ones((*share.shape, 1)), share[..., None] ** _POWERS], axis=2)
    prior, doubt = np.array([0.0, *s.up]), s.lump / np.array([s.level, *s.up_sd])
    left = terms.transpose(0, 2, 1) * weight
    rest = left @ (course.mean.high - terms @ prior)[..., None]
    found = prior + np.linalg.solve(left @ terms + np.diag(doubt**2), rest)[..., 0]
    return np.asarray(found[:, 1:])


def _height_odds(course: MeanCourse, ends: FloatArray, best: FloatArray, s: MeanSettings) -> FloatArray:
    """(G,) twice the log odds of touchdowns at ``ends`` (G, 2) fast halves from the heights before and after them, over
    all ways to come down of ``s.falls``; best (2,): the ends about which frames are chosen. Bins that are off alike say
    less, as in the way done: no paw comes down by a power of time alone."""
    share, weight = _shares(course, ends[:, 1], best, 1, s)
    offs = []
    for power in s.falls:
        terms = np.concatenate([np.ones((*share.shape, 1)), share[..., None] ** (power + np.arange(3.0))], axis=2)
        left = terms.transpose(0, 2, 1) * weight
        found = np.linalg.solve(left @ terms + 1e-4 * np.eye(4), (left @ course.mean.high)[..., None])
        offs.append(np.sqrt(weight) * (course.mean.high - (terms @ found)[..., 0]))
    off, looked = np.array(offs), weight > 0
    misfit = (off**2).sum(axis=2)
    best_off = off[np.unravel_index(misfit.argmin(), misfit.shape)][looked]
    noise = max(float(misfit.min()) / max(int(looked.sum()) - 5, 1), 1e-12) * _alike(best_off)
    return np.asarray(2 * np.log(np.exp(np.maximum((misfit.min() - misfit) / noise, -200.0) / 2).sum(axis=0)))


def _shares(
    course: MeanCourse, at: FloatArray, mean: FloatArray, end: int, s: MeanSettings
) -> tuple[FloatArray, FloatArray]:
    """Shares of the swing after lift-offs (end 0), or before touchdowns, at each of ``at`` (G,) fast halves, 0 in the
    stance (G, B); and the weights of the bins (B,), 0 far from that end of the swing ``mean`` (2,)."""
    way, length = (1, -1)[end], np.ptp(mean)
    share = np.maximum(way * (course.mean.time - at[:, None]) / length, 0.0)
    from_mean = way * (course.mean.time - mean[end]) / length
    near = (from_mean > -2 * s.part) & (from_mean < s.part)
    return share, np.where(near, course.number / course.number.mean(), 0.0)


def _fitted(course: MeanCourse, manner: FloatArray, s: MeanSettings) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Best ends (G, 2) for each manner (G, 2), leave and land, the sum of squared misfits (G,), and these (G, B), ways.

    What a camera off square adds is taken out: where it stands, how fast, and that what is nearer looks larger.
    """
    mean, weight = course.mean, np.sqrt(course.number / course.number.mean())
    askew = weight[:, None] * np.stack([np.ones_like(mean.ahead), mean.ahead, mean.ahead**2], axis=1)
    gain = np.linalg.solve(askew.T @ askew + np.diag(s.scatter**2 / np.array(s.askew) ** 2), askew.T)
    leave, land = manner[:, :1], manner[:, 1:]
    ends = np.tile([-0.9, 1.9], (len(manner), 1))
    for _ in range(s.steps):
        length = np.ptp(ends, axis=1)[:, None]
        share = (mean.time - ends[:, :1]) / length
        off = weight * (path(share, leave, land) - mean.way)
        turn = weight * pace(share, leave, land) / length
        slopes = np.stack([-turn * (1 - share), -turn * share], axis=1)
        off, slopes = off - off @ gain.T @ askew.T, slopes - slopes @ gain.T @ askew.T
        normal = slopes @ slopes.transpose(0, 2, 1) + 1e-6 * np.eye(2)
        step = np.linalg.solve(normal, slopes @ off[:, :, None])[..., 0]
        ends = ends - np.clip(step, -0.3, 0.3)
        ends = np.clip(ends, [-s.beyond, 1.05], [-0.05, 1 + s.beyond])
    return ends, (off**2).sum(axis=1), off


def _alike(off: FloatArray) -> float:
    """1, how many bins say no more than one alone where neighbours are off (B,) alike: landmarks that are wrong in the
    same way in every stride do not average away (first-order autoregression, derived)."""
    alike = float((off[1:] * off[:-1]).sum() / max((off**2).sum(), 1e-30))
    alike = min(max(alike, 0.0), 0.9)
    return (1 + alike) / (1 - alike)


_POWERS = np.array([1, 2, 3])


def _cubic(manner: FloatArray, end: int, part: float) -> FloatArray:
    """(G, 3) coefficients of the way after lift-off (end 0), or of that still to go before touchdown (end 1)."""
    share = np.linspace(0.0, part, 40)
    first, last = (manner[:, [i]] for i in (end, 1 - end))
    return np.asarray(np.linalg.lstsq(share[:, None] ** _POWERS, path(share, first, last).T, rcond=None)[0].T)
