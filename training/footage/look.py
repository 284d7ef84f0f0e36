"""Look: coat, markings and gear of one dog, as numbers that the surface shader reads. Colours are linear RGB 0..1."""

from dataclasses import dataclass

import numpy as np

from pose.tracks import FloatArray
from training.footage.skeleton import Skeleton

#: Coat colours, our own estimates of linear reflectance:
#: black, dark brown, chocolate, red, tan, fawn, cream, white, grey, blue.
COATS = np.array(
    [
        (0.012, 0.011, 0.011),
        (0.035, 0.020, 0.012),
        (0.075, 0.038, 0.020),
        (0.28, 0.095, 0.03),
        (0.38, 0.19, 0.075),
        (0.50, 0.32, 0.17),
        (0.66, 0.52, 0.34),
        (0.82, 0.79, 0.73),
        (0.22, 0.21, 0.20),
        (0.075, 0.078, 0.088),
    ]
)
_COMMON_SHARE = np.array([4.2, 1.6, 1.0, 1.4, 1.5, 1.2, 1.0, 1.6, 0.9, 0.7])
PATTERNS = ("solid", "saddle", "patches", "brindle", "merle", "points", "pale belly")
_STRANGE = 0.08  # share of the dogs that have a coat of any two colours
_PATTERN_SHARE = np.array([0.24, 0.18, 0.20, 0.06, 0.09, 0.11, 0.12])


@dataclass(frozen=True, slots=True)
class Look:
    """coat (4, 3): main, second, white marks, skin; thresholds (8,) of the pattern; bands (5, 4) planes of gear
    with band_colour (5, 3) and band_part (5, 3): on the neck, lowest height, half-width (0 = none)."""

    coat: FloatArray
    pattern: int
    thresholds: FloatArray
    seed: float
    gloss: float
    hair: float
    shells: int
    curl: float
    droop: float
    bands: FloatArray
    band_colour: FloatArray
    band_part: FloatArray
    boot: float
    boot_colour: FloatArray
    clipped: FloatArray


def any_colour(rng: np.random.Generator) -> FloatArray:
    """(3,) a random linear colour; one in five of them vivid."""
    value = rng.uniform(0.01, 0.9) ** 1.5
    tint = rng.dirichlet(np.ones(3) * (1.5 if rng.random() < 0.2 else 25.0)) * 3
    return np.asarray(np.clip(value * tint, 0.005, 0.9))


def draw_look(rng: np.random.Generator, s: Skeleton) -> Look:
    """A random coat, and gear on every second dog."""
    share = _COMMON_SHARE / _COMMON_SHARE.sum()
    main, second = COATS[rng.choice(10, p=share)], COATS[rng.choice(10, p=share)]
    pattern = int(rng.choice(len(PATTERNS), p=_PATTERN_SHARE / _PATTERN_SHARE.sum()))
    if PATTERNS[pattern] == "points":
        main, second = COATS[rng.choice([0, 0, 0, 1, 2, 9])], COATS[rng.choice([3, 4, 5])]
    if PATTERNS[pattern] == "patches" and rng.random() < 0.75:
        main = COATS[7]
    if PATTERNS[pattern] == "pale belly":
        second = main + (COATS[6] - main) * rng.uniform(0.3, 1.0)
    if rng.random() < _STRANGE:  # colours that no dog has: the shape has to do
        main, second = any_colour(rng), any_colour(rng)
    coat = np.array([main, second, COATS[7] * rng.uniform(0.8, 1.1), (0.42, 0.27, 0.22)])
    coat *= rng.uniform(0.75, 1.3) * rng.uniform(0.93, 1.07, (4, 3))
    bands, colours, parts = _gear(rng, s)
    boots = rng.random() < 0.08
    hip = s.legs[2][0] + (rng.uniform(-0.1, 0.5), rng.uniform(-0.15, 0.1), s.build.width * 0.9)
    clipped = np.array([*hip, rng.uniform(0.06, 0.16) if rng.random() < 0.06 else 0.0])
    return Look(
        np.clip(coat, 0.006, 0.92),
        pattern,
        _thresholds(rng),
        float(rng.uniform(0, 100)),
        float(rng.uniform(0.0, 0.14)),
        s.build.hair,
        _shells(s.build.hair),
        float(rng.random() ** 2),
        s.build.droop,
        bands,
        colours,
        parts,
        float(rng.uniform(0.09, 0.16)) if boots else 0.0,
        any_colour(rng),
        clipped,
    )


def _shells(hair: float) -> int:
    return 1 if hair < 0.006 else int(np.clip(4 + hair * 90, 4, 10))


def _thresholds(rng: np.random.Generator) -> FloatArray:
    """(8,) saddle height, noise level, frequency, white sock height, white tail tip, blaze, chest, extra hind sock."""
    socks = rng.random() < 0.4
    return np.array(
        [
            rng.uniform(0.45, 0.9),
            rng.uniform(0.40, 0.62),
            rng.uniform(3, 22),
            rng.uniform(0.05, 0.5) if socks else -0.5,
            rng.uniform(0.04, 0.3) if rng.random() < 0.25 else 9.0,
            rng.uniform(0.01, 0.05) if rng.random() < 0.3 else -1.0,
            rng.uniform(0.2, 0.7) if rng.random() < 0.35 else -2.0,
            rng.uniform(-1.0, 1.0) if socks else 0.0,
        ]
    )


def _gear(rng: np.random.Generator, s: Skeleton) -> tuple[FloatArray, FloatArray, FloatArray]:
    bands, colours, parts = np.zeros((5, 4)), np.zeros((5, 3)), np.zeros((5, 3))
    base, poll, _ = s.neck
    neck = (poll - base) / np.linalg.norm(poll - base)
    chest = s.legs[0][2][0]
    colour = any_colour(rng)

    def put(row: int, way: FloatArray, at: FloatArray, half: float, on_neck: float, lowest: float = -1.0) -> None:
        """Lay band ``row`` square to ``way`` (3,) through ``at`` (3,), withers heights, in the colour of now."""
        bands[row], colours[row], parts[row] = (*way, float(way @ at)), colour, (on_neck, lowest, half)

    if rng.random() < 0.4:
        put(0, neck, base + rng.uniform(0.35, 0.7) * (poll - base), rng.uniform(0.012, 0.03), 1.0)
        colour = any_colour(rng)
    kind = rng.choice(["none", "strap", "y", "multi", "vest"], p=[0.58, 0.11, 0.11, 0.08, 0.12])
    wide = rng.uniform(0.012, 0.035)
    if kind in ("strap", "y", "multi"):
        put(1, np.array([1.0, 0, 0]), np.array([chest - rng.uniform(0.06, 0.16), 0, 0]), wide, 0.0)
        put(
            2,
            np.array([0.55, 0.83, 0.0]) if kind == "strap" else np.array([0.83, -0.55, 0]),
            np.array([chest + 0.1, 0.72, 0]),
            wide,
            0.0,
        )
    if kind == "multi":
        put(3, np.array([1.0, 0, 0]), np.array([-0.12 * s.build.length, 0, 0]), wide, 0.0)
        put(4, np.array([0, 1.0, 0]), np.array([0, 0.78, 0]), wide, 0.0)
    if kind == "vest":
        reach = rng.uniform(0.12, 0.45) * s.build.length
        put(1, np.array([1.0, 0, 0]), np.array([chest + 0.05 - reach * 0.8, 0, 0]), reach, 0.0, rng.uniform(0.3, 0.8))
    return bands, colours, parts
