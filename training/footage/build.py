"""Build: the shape of one dog. Lengths are shares of withers height unless the unit says otherwise."""

from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np

from pose.tracks import FloatArray

#: (low, high) of each field by kind of build. Proportions are our own drawing choices, spanning what
#: breed standards ask for (chest depth about 45-48 % of withers height in a shepherd, length exceeding
#: height by 10-17 %: as quoted by others, standards not opened).
# fmt: off
_COMMON = {
    "withers_m": (0.38, 0.68), "elbow": (0.48, 0.55), "length": (0.98, 1.16), "chest_drop": (-0.03, 0.05),
    "tuck": (0.05, 0.17), "width": (0.105, 0.15), "croup": (0.92, 1.04), "dip": (-0.04, 0.03),
    "girth": (0.85, 1.15), "neck": (0.30, 0.44), "neck_girth": (0.085, 0.125), "skull": (0.080, 0.105),
    "muzzle": (0.11, 0.18), "muzzle_girth": (0.034, 0.052), "tail": (0.40, 0.62), "tail_girth": (0.018, 0.032),
    "angulation": (0.75, 1.3), "paw": (0.038, 0.050), "rump_fall": (0.04, 0.22), "ear": (0.11, 0.20),
    "hair": (0.004, 0.03), "stance_width": (0.75, 1.0), "neck_rise": (0.50, 1.10), "neck_ahead": (0.0, 0.17),
    "neck_base": (0.79, 0.88), "neck_blend": (0.05, 0.14), "pelvis": (0.85, 1.2), "thigh": (0.85, 1.2),
    "hip_back": (0.115, 0.160), "tail_set": (0.01, 0.06),
    "feather": (0.5, 1.5), "beard": (0.15, 0.6), "mane": (0.8, 1.5), "droop": (0.0, 0.8),
}
_KINDS: dict[str, dict[str, tuple[float, float]]] = {
    "square": {},
    "long": {"length": (1.12, 1.28), "elbow": (0.44, 0.50)},
    "racer": {
        "withers_m": (0.45, 0.85), "elbow": (0.53, 0.59), "tuck": (0.16, 0.26), "width": (0.085, 0.115),
        "dip": (0.0, 0.05), "girth": (0.62, 0.85), "neck": (0.38, 0.50), "neck_girth": (0.065, 0.09),
        "skull": (0.062, 0.08), "muzzle": (0.15, 0.21), "muzzle_girth": (0.026, 0.038), "tail_girth": (0.012, 0.02),
    },
    "low": {
        "withers_m": (0.20, 0.34), "elbow": (0.27, 0.38), "length": (1.45, 1.95), "width": (0.15, 0.22),
        "girth": (1.1, 1.55), "tuck": (0.0, 0.10), "skull": (0.12, 0.16), "muzzle": (0.17, 0.27),
        "muzzle_girth": (0.05, 0.075), "neck": (0.36, 0.52), "neck_girth": (0.11, 0.16), "paw": (0.055, 0.075),
        "tail": (0.5, 0.8), "ear": (0.14, 0.26),
    },
    "heavy": {
        "withers_m": (0.50, 0.80), "width": (0.15, 0.21), "girth": (1.15, 1.5), "neck_girth": (0.12, 0.16),
        "skull": (0.10, 0.13), "muzzle": (0.10, 0.16), "muzzle_girth": (0.055, 0.08), "tuck": (0.0, 0.08),
        "paw": (0.050, 0.064),
    },
    "toy": {
        "withers_m": (0.18, 0.30), "girth": (0.7, 1.1), "skull": (0.12, 0.16), "muzzle": (0.05, 0.13),
        "elbow": (0.45, 0.55), "neck_girth": (0.09, 0.13), "ear": (0.10, 0.2), "paw": (0.04, 0.055),
        "length": (0.9, 1.15),
    },
    "puppy": {
        "withers_m": (0.18, 0.40), "girth": (1.1, 1.5), "skull": (0.13, 0.17), "muzzle": (0.07, 0.12),
        "muzzle_girth": (0.05, 0.065), "paw": (0.058, 0.075), "elbow": (0.42, 0.5), "tuck": (0.0, 0.06),
        "width": (0.14, 0.19), "tail": (0.3, 0.45), "neck": (0.24, 0.34),
    },
    "blocky": {
        "withers_m": (0.28, 0.48), "width": (0.17, 0.24), "girth": (1.1, 1.5), "elbow": (0.40, 0.48),
        "skull": (0.13, 0.17), "muzzle": (0.04, 0.09), "muzzle_girth": (0.065, 0.09), "neck_girth": (0.13, 0.18),
        "neck": (0.24, 0.34), "tail": (0.05, 0.3),
    },
    "fluffy": {
        "hair": (0.05, 0.12), "tail_girth": (0.02, 0.03), "width": (0.12, 0.17), "feather": (0.7, 1.8),
        "mane": (1.0, 2.0),
    },
    "rough": {
        "hair": (0.025, 0.06), "skull": (0.09, 0.13), "elbow": (0.44, 0.54), "withers_m": (0.25, 0.8),
        "feather": (0.9, 2.2), "beard": (0.5, 1.6),
    },
}
# fmt: on
KINDS = tuple(_KINDS)
_SHARES = np.array([4, 2.5, 2, 2, 2, 1.2, 1.2, 1.2, 2, 2])
TAILS = ("down", "sabre", "up", "curled", "docked")
EARS = ("pricked", "hanging", "folded")
_THICKEST_TAIL = 0.06  # girth at the root and length of coat beyond which a dog looks wrong, withers heights
_LONGEST_COAT = 0.13


@dataclass(frozen=True, slots=True)
class Build:
    """Shape of one dog; see the field names. ``withers_m`` is in metres, angles and shares are plain.

    neck_rise, neck_ahead, neck_base, neck_blend   rad above level; how far before the withers and how high the neck
                sets on, and how softly: a neck must not tell where the withers are
    pelvis, thigh   factors on the length of the pelvis and the girth of the thighs
    hip_back, tail_set   how far before the rump the hip joint and the root of the tail are
    feather, beard, mane   factors on the coat's length on legs and tail, on the head, and on the neck
    droop   how far the coat hangs: the tip of a hair by this share of its length
    tail_root   factor on the girth of the tail at its root; the last half of the tail keeps its own
    breeches   factor on the coat's length over the croup, the rump and the backs of the thighs
    hock, stifle, carpus   factors on how high these joints lie
    cannon      factor on the girth of the legs below the elbow and the stifle
    forechest   how far before the elbows the trunk ends
    back        by how much waves of 1, 1/2, 1/3 of the trunk's length lift the back, and where a crest of each lies,
                share of its own length: withers and croup lie on humps, in hollows or between them
    """

    kind: str
    tail_shape: str
    ear_shape: str
    withers_m: float
    elbow: float
    length: float
    chest_drop: float
    tuck: float
    width: float
    croup: float
    dip: float
    girth: float
    neck: float
    neck_girth: float
    skull: float
    muzzle: float
    muzzle_girth: float
    tail: float
    tail_girth: float
    angulation: float
    paw: float
    rump_fall: float
    ear: float
    hair: float
    stance_width: float
    neck_rise: float
    neck_ahead: float
    neck_base: float
    neck_blend: float
    pelvis: float
    thigh: float
    hip_back: float
    tail_set: float
    feather: float
    beard: float
    mane: float
    droop: float
    tail_root: float = 1.0
    breeches: float = 1.0
    hock: float = 1.0
    stifle: float = 1.0
    carpus: float = 1.0
    cannon: float = 1.0
    forechest: float = 0.15
    back: tuple[tuple[float, float], ...] = ()

    @property
    def tail_girths(self) -> FloatArray:
        """(5,) radii of the tail from its root to its tip."""
        thick = 1.0 + (self.tail_root - 1.0) * np.clip(1.0 - np.arange(5) / 2, 0.0, 1.0)
        return np.asarray(self.tail_girth * (1.25 - 0.22 * np.arange(5)) * thick)


def draw_build(rng: np.random.Generator, kind: str | None = None) -> Build:
    """A random dog of ``kind`` (one of KINDS; None = any)."""
    kind = kind or str(rng.choice(KINDS, p=_SHARES / _SHARES.sum()))
    limits = {**_COMMON, **_KINDS[kind]}
    drawn = [f.name for f in fields(Build) if f.name in limits]
    values: dict[str, Any] = {name: float(rng.uniform(*limits[name])) for name in drawn}
    tail = str(rng.choice(TAILS, p=[0.35, 0.25, 0.15, 0.15, 0.10]))
    build = Build(kind=kind, tail_shape=tail, ear_shape=str(rng.choice(EARS)), **values)
    return replace(build, tail=0.08) if tail == "docked" else build


@dataclass(frozen=True, slots=True)
class RareShares:
    """How often a drawn dog gets what photographs show often and ``draw_build`` seldom gives. Shares of all dogs.

    high_tail      a tail thick at its root, carried high or curled over the croup: the croup must not be taken for the
                   root of the tail
    loose_croup    long, hanging coat over croup and thighs: the croup must be found below it
    upright_neck   a neck set on steeply and carried high, with a clear kink at the withers or a little before them
    buried_withers   a thick neck or mane that sets on at the withers or behind them: its kink is not where they are
    own_frame    bones of other proportions, and a back whose humps and hollows say nothing of withers and croup
    falling_rump   a rump that falls steeply to a long, low tail, whose tip may hang among the hind paws: the croup is
                   not the highest place of the rump
    """

    high_tail: float = 0.30
    loose_croup: float = 0.20
    upright_neck: float = 0.25
    buried_withers: float = 0.12
    own_frame: float = 0.85
    falling_rump: float = 0.25


def vary_build(rng: np.random.Generator, build: Build, shares: RareShares = RareShares()) -> Build:
    """``build`` with what ``shares`` names, each as often as it says."""
    if rng.random() < shares.own_frame:
        build = _own_frame(rng, build)
    tail = rng.random()
    if tail < shares.high_tail:
        build = _high_tail(rng, build)
    elif tail < shares.high_tail + shares.falling_rump:
        build = _falling_rump(rng, build)
    if rng.random() < shares.loose_croup:
        build = _loose_croup(rng, build)
    kind = rng.random()
    if kind < shares.upright_neck:
        return _upright_neck(rng, build)
    return _buried_withers(rng, build) if kind < shares.upright_neck + shares.buried_withers else build


def _own_frame(rng: np.random.Generator, b: Build) -> Build:
    """Legs are drawn long or short below hock and carpus, chests deep or shallow before the elbow, backs uneven."""
    hock, uneven = rng.uniform(0.85, 1.30), rng.random() ** 1.5
    waves = uneven * rng.normal(0.0, (0.020, 0.016, 0.012))
    back = tuple((float(high), float(rng.random())) for high in waves)
    girth = min(b.tail_girth * rng.uniform(0.8, 1.5), _THICKEST_TAIL / 1.3)
    return replace(
        b, hock=hock, stifle=1.0 + 0.3 * (hock - 1.0) + rng.uniform(-0.06, 0.06), carpus=rng.uniform(0.80, 1.25),
        cannon=rng.uniform(0.95, 1.5), forechest=rng.uniform(0.11, 0.21), pelvis=b.pelvis * rng.uniform(0.9, 1.15),
        hip_back=b.hip_back + rng.uniform(-0.015, 0.02), tail_set=b.tail_set + rng.uniform(-0.01, 0.03),
        tail_girth=girth, back=back,
    )  # fmt: skip


def _high_tail(rng: np.random.Generator, b: Build) -> Build:
    """Not thicker at the root than _THICKEST_TAIL and flush with the rump, so that it sets on behind the croup."""
    girth = min(b.tail_girth * rng.uniform(1.0, 1.4), _THICKEST_TAIL / 1.3)
    root = min(rng.uniform(1.3, 2.2), _THICKEST_TAIL / girth)
    shape = str(rng.choice(["up", "curled", "sabre"], p=[0.35, 0.5, 0.15]))
    high = replace(b, tail_shape=shape, tail=max(b.tail, 0.30), tail_girth=girth, tail_root=max(root, 1.0))
    flush = max(b.tail_set, float(high.tail_girths[0]) - rng.uniform(0.0, 0.03))
    return replace(high, tail_set=flush, rump_fall=b.rump_fall * rng.uniform(0.3, 1.0))


def _falling_rump(rng: np.random.Generator, b: Build) -> Build:
    fall, long = rng.uniform(0.14, 0.30), rng.uniform(0.45, 0.85)
    girth = min(b.tail_girth * rng.uniform(1.0, 1.5), _THICKEST_TAIL / 1.3)
    root = max(min(rng.uniform(1.0, 2.0), _THICKEST_TAIL / girth), 1.0)
    shape = str(rng.choice(["down", "sabre"], p=[0.75, 0.25]))
    return replace(
        b, rump_fall=fall, pelvis=b.pelvis * rng.uniform(1.0, 1.2), tail_shape=shape, tail=max(b.tail, long),
        tail_girth=girth, tail_root=root, feather=b.feather * rng.uniform(1.0, 1.8),
    )  # fmt: skip


def _loose_croup(rng: np.random.Generator, b: Build) -> Build:
    hair = max(b.hair, rng.uniform(0.03, 0.07))
    longest = _LONGEST_COAT / hair
    return replace(b, hair=hair, breeches=min(rng.uniform(1.2, 2.5), longest), droop=rng.uniform(0.5, 1.0))


def _upright_neck(rng: np.random.Generator, b: Build) -> Build:
    """Steep: the back of the neck leaves the topline at the withers or a little before them."""
    rise, thick = rng.uniform(1.05, 1.35), 1.12 * b.neck_girth
    base = min(rng.uniform(0.82, 0.90), 1.04 - 1.45 * b.neck_girth)
    clear = rng.uniform(0.0, 0.07) + thick / np.sin(rise) - (1.0 - base) / np.tan(rise)
    ahead, long, blend = float(clear), b.neck * rng.uniform(1.0, 1.25), rng.uniform(0.03, 0.09)
    return replace(b, neck_rise=rise, neck_base=base, neck_ahead=ahead, neck=long, neck_blend=blend)


def _buried_withers(rng: np.random.Generator, b: Build) -> Build:
    ahead, mane, thick = rng.uniform(-0.03, 0.06), b.mane * rng.uniform(1.0, 1.6), rng.uniform(1.0, 1.2)
    rise, blend = rng.uniform(0.45, 1.0), rng.uniform(0.06, 0.16)
    return replace(b, neck_ahead=ahead, mane=mane, neck_girth=b.neck_girth * thick, neck_rise=rise, neck_blend=blend)
