"""Room: everything around the dog. Boxes in metres with a material; sun and exposure."""

from dataclasses import dataclass, replace

import numpy as np

from pose.tracks import FloatArray
from training.footage.look import any_colour

PLAIN, BELT, GRASS, PLANKS, BACKDROP, BLADES, STRIPES, PHOTO = range(8)
#: Height of the grass of a meadow, shares of withers height, short grass being likelier; how much of it a strip
#: between the dog and the camera may lift above the line of sight to the paws; how fine and how thin its blades are;
#: its tints, linear RGB: greens, straw, dry brown. Own estimates.
_DEEP = (0.02, 0.32)
_RISES = 0.5
_FINE, _THIN = (5.0, 14.0), (-0.05, 0.16)
_BELOW_ELBOW = 0.6  # share of the elbow's height that most blades stay below
_MEADOWS = np.array(
    [
        (0.07, 0.16, 0.03),
        (0.14, 0.24, 0.05),
        (0.05, 0.11, 0.04),
        (0.45, 0.36, 0.14),
        (0.32, 0.22, 0.09),
        (0.26, 0.27, 0.08),
    ]
)


@dataclass(frozen=True, slots=True)
class Box:
    """A box: middle and size (3,) m, turn about Y (rad), two tints (3,), a material and its grain (1/m)."""

    middle: FloatArray
    size: FloatArray
    tint: FloatArray
    tint2: FloatArray
    material: int = PLAIN
    grain: float = 6.0
    turn: float = 0.0
    gloss: float = 0.0
    tilt: float = 0.0

    def model(self) -> FloatArray:
        """(4, 4) from the unit cube to the room."""
        c, s, ct, st = np.cos(self.turn), np.sin(self.turn), np.cos(self.tilt), np.sin(self.tilt)
        rot = np.array([[c, 0, s], [0, 1, 0], [-s, 0, c]]) @ np.array([[ct, -st, 0], [st, ct, 0], [0, 0, 1]])
        out = np.eye(4)
        out[:3, :3], out[:3, 3] = rot * self.size, self.middle
        return out


@dataclass(frozen=True, slots=True)
class Room:
    """boxes; sun way and colours (3,); develop settings; moving = the ground runs under the dog."""

    boxes: tuple[Box, ...]
    sun_way: FloatArray
    sun_colour: FloatArray
    sky_colour: FloatArray
    ground_colour: FloatArray
    shadow_depth: float
    exposure: float
    gamma: float
    tone: FloatArray
    vignette: float
    haze: float
    layer: int
    ground_layer: int
    blur: float


def _box(
    middle: tuple[float, float, float],
    size: tuple[float, float, float],
    rng: np.random.Generator,
    material: int = PLAIN,
    **more: float,
) -> Box:
    tint = any_colour(rng)
    other = np.clip(tint * rng.uniform(0.5, 1.6, 3), 0.004, 0.9)
    return Box(np.array(middle), np.array(size), tint, other, material, **more)


def _treadmill(rng: np.random.Generator, h: float, span: float) -> list[Box]:
    """Deck, side rails, posts and hand rails, for a dog h m high and span m long."""
    wide, long = rng.uniform(0.35, 0.8) * max(h, 0.3), span * rng.uniform(1.1, 1.8)
    deck = rng.uniform(0.08, 0.35)
    dark = np.full(3, rng.uniform(0.008, 0.08)) * rng.uniform(0.9, 1.1, 3) if rng.random() < 0.75 else any_colour(rng)
    boxes = [
        Box(
            np.array([0, -0.02, 0]),
            np.array([long, 0.04, 2 * wide]),
            dark,
            np.clip(dark * rng.uniform(1.2, 3), 0, 0.9),
            BELT,
            float(rng.uniform(8, 30)),
            gloss=float(rng.uniform(0, 0.1)),
        )
    ]
    for side in (-1, 1):
        boxes.append(_box((0, -deck / 2 + 0.0, side * (wide + 0.05)), (long, deck + rng.uniform(0.0, 0.04), 0.1), rng))
    boxes.append(
        _box(
            (0, -deck - 0.01, 0),
            (14, 0.02, 14),
            rng,
            int(rng.choice([PLAIN, PLANKS, BELT, PHOTO])),
            grain=float(rng.uniform(1, 12)),
        )
    )
    far, near = -(wide + rng.uniform(0.06, 0.2)), wide + rng.uniform(0.06, 0.2)
    boxes += _rails(rng, h, long, far, int(rng.integers(0, 4)))
    if rng.random() < 0.55:
        boxes += _rails(rng, h, long, near, int(rng.integers(1, 4)))
    if rng.random() < 0.5:
        boxes.append(_box((long / 2 + 0.1, h * 0.7, 0), (0.12, h * rng.uniform(0.3, 1.6), 2 * wide), rng))
    return boxes


def _rails(rng: np.random.Generator, h: float, long: float, z: float, posts: int) -> list[Box]:
    thick = rng.uniform(0.012, 0.05) * (0.5 + h)
    tall = h * rng.uniform(0.5, 1.8)
    boxes = [
        _box((rng.uniform(-0.5, 0.5) * long, tall / 2, z), (thick, tall, thick), rng, tilt=float(rng.normal(0, 0.15)))
        for _ in range(posts)
    ]
    for _ in range(int(rng.integers(0, 3))):
        boxes.append(_box((0, h * rng.uniform(0.1, 1.7), z), (long, thick * rng.uniform(0.5, 1), thick), rng))
    return boxes


def _outdoors(rng: np.random.Generator, h: float, span: float) -> list[Box]:
    green = np.array([rng.uniform(0.05, 0.25), rng.uniform(0.10, 0.30), rng.uniform(0.02, 0.10)])
    tint = green if rng.random() < 0.55 else any_colour(rng)
    ground = Box(
        np.array([0, -0.02, 0]),
        np.array([40, 0.04, 40]),
        tint,
        np.clip(tint * rng.uniform(0.4, 1.7, 3), 0, 0.9),
        int(rng.choice([GRASS, GRASS, PHOTO, PHOTO, PHOTO, BELT, PLANKS, PLAIN])),
        float(rng.uniform(2, 40)),
    )
    boxes = [ground]
    if rng.random() < 0.6:
        boxes += _blades(rng, h, span, tint)
    return boxes


def _blades(rng: np.random.Generator, h: float, span: float, tint: FloatArray) -> list[Box]:
    """Strips of grass before, under and behind the paws."""
    tall = h * rng.uniform(0.03, 0.26)
    pale = np.clip(tint * rng.uniform(0.7, 2.0, 3), 0, 0.9)
    planes = np.linspace(-0.5, 0.7, 7) + rng.uniform(-0.06, 0.06, 7)
    grass = _Grass((tint, pale))
    return [grass.strip(z * h, span * 4, tall * rng.uniform(0.6, 1.2)) for z in planes]


@dataclass(frozen=True, slots=True)
class _Grass:
    """Two tints (3,), how fine the blades are (6: usual), and how thin they stand (0: as a lawn)."""

    tints: tuple[FloatArray, FloatArray]
    fine: float = 6.0
    thin: float = 0.0

    def strip(self, z_m: float, wide_m: float, tall_m: float) -> Box:
        """Blades that stand on the ground; their ragged tops reach about half way up ``tall_m``, a few higher."""
        middle, size = np.array([0, tall_m / 2 - 0.005, z_m]), np.array([wide_m, tall_m, 0.002])
        return Box(middle, size, *self.tints, BLADES, self.fine, gloss=self.thin)


def grow(rng: np.random.Generator, room: Room, h: float, span: float, elbow: float, eye: FloatArray) -> Room:
    """``room`` turned into a meadow around a dog h m high and span m long: blades ``_DEEP`` of its withers height,
    most of them below its ``elbow`` (height, share of h), before, under and behind the paws, that hide feet and
    pasterns while the legs are seen, and on to the camera at ``eye`` (3,) m; green to straw."""
    low, high = _DEEP
    tall = 2.0 * h * min(low + (high - low) * rng.random() ** 1.5, _BELOW_ELBOW * elbow)
    tint = _MEADOWS[rng.integers(len(_MEADOWS))] * rng.uniform(0.7, 1.4) * rng.uniform(0.9, 1.1, 3)
    other = _MEADOWS[rng.integers(len(_MEADOWS))] if rng.random() < 0.4 else tint * rng.uniform(0.6, 1.9, 3)
    tints = np.clip(tint, 0.004, 0.9), np.clip(other, 0.004, 0.9)
    ground = Box(np.array([0, -0.02, 0]), np.array([80, 0.04, 80]), tints[0] * 0.6, tints[1] * 0.7, GRASS,
                 float(rng.uniform(4, 30)))  # fmt: skip
    planes = np.concatenate([-np.geomspace(0.6, 5.0, 7), np.linspace(-0.5, 0.8, int(rng.integers(7, 14)))])
    planes = planes + rng.uniform(-0.05, 0.05, len(planes))
    grass = _Grass(tints, float(rng.uniform(*_FINE)), float(rng.uniform(*_THIN)))
    strips = [grass.strip(z * h, span * 9, tall * rng.uniform(0.75, 1.15)) for z in planes]
    strips += _before(rng, grass, h, span, tall, eye)
    return replace(room, boxes=(ground, *strips, *_clutter(rng, h, span)))


def _before(
    rng: np.random.Generator, grass: _Grass, h: float, span: float, tall_m: float, eye: FloatArray
) -> list[Box]:
    """Grass between the dog and the camera that leaves the line of sight to the paws nearly free, as people film."""
    rises = rng.uniform(0.0, _RISES) * tall_m
    planes = np.geomspace(1.0 * h, max(0.8 * eye[2], 1.1 * h), 8) * rng.uniform(0.9, 1.1, 8)
    seen_m = 2.0 * eye[1] * planes / eye[2]  # blades reach about half way up their strip
    high = np.minimum(tall_m, seen_m + rises * (1.0 - planes / eye[2]))
    return [grass.strip(z, span * 9, m) for z, m in zip(planes, high, strict=True) if m > 0.01]


def _clutter(rng: np.random.Generator, h: float, span: float) -> list[Box]:
    """Things and a handler's legs behind the dog; sometimes before it."""
    boxes = []
    for _ in range(int(rng.integers(0, 7))):
        size = rng.uniform(0.03, 1.2, 3) * (0.3 + h)
        boxes.append(
            _box(
                (rng.uniform(-1.6, 1.6) * span, size[1] / 2 - 0.1, -rng.uniform(0.7, 4.0)),
                tuple(size),
                rng,
                int(rng.choice([PLAIN, PLAIN, PLANKS, STRIPES, BELT])),
                grain=float(rng.uniform(3, 30)),
                turn=float(rng.uniform(-1, 1)),
            )
        )
    if rng.random() < 0.22:
        boxes += _legs(rng, rng.uniform(-1.0, 1.0) * span, -rng.uniform(0.35, 1.2))
    if rng.random() < 0.05:
        boxes += _legs(rng, rng.choice([-1, 1]) * rng.uniform(0.55, 1.0) * span, rng.uniform(0.3, 0.6))
    if rng.random() < 0.14:
        wide = rng.uniform(0.02, 0.06) * (0.5 + h)
        boxes.append(
            _box(
                (rng.uniform(-0.6, 0.6) * span, h * 0.8, rng.uniform(0.35, 0.8)),
                (wide, h * 2.4, wide),
                rng,
                tilt=float(rng.normal(0, 0.3)),
            )
        )
    return boxes


def _legs(rng: np.random.Generator, x: float, z: float) -> list[Box]:
    cloth = any_colour(rng)
    shoe = any_colour(rng)
    boxes = []
    for side in (-0.12, 0.14):
        at, tilt = x + side + rng.normal(0, 0.08), float(rng.normal(0, 0.15))
        boxes.append(
            Box(np.array([at, 0.48, z + side]), np.array([0.15, 0.86, 0.16]), cloth, cloth * 0.8, PLAIN, 9.0, tilt=tilt)
        )
        boxes.append(
            Box(
                np.array([at + 0.05 + tilt * 0.4, 0.04, z + side]),
                np.array([0.28, 0.09, 0.11]),
                shoe,
                shoe * 0.8,
                PLAIN,
                9.0,
            )
        )
    return boxes


def draw_room(rng: np.random.Generator, h: float, span: float, layers: int, belt: bool | None = None) -> Room:
    """A random surrounding of a dog h m high and span m long; layers = backdrops to choose from."""
    indoors = rng.random() < 0.55 if belt is None else belt
    boxes = _treadmill(rng, h, span) if indoors else _outdoors(rng, h, span)
    boxes += _clutter(rng, h, span)
    way = np.array([rng.uniform(-1, 1), rng.uniform(0.25, 1.2), rng.uniform(-1.0, 1.2)])
    sun = rng.uniform(0.0, 2.2) * np.clip(1 + 0.12 * rng.standard_normal(3), 0.6, 1.4)
    sky = rng.uniform(0.15, 0.9) * np.clip(1 + 0.10 * rng.standard_normal(3), 0.7, 1.3)
    if rng.random() < 0.12:  # against the light
        way[2], sun = -abs(way[2]) - 0.5, sun * 1.4 + 0.6
    bright = 1.0 / (0.35 * sun.mean() + 0.8 * sky.mean() + 0.12)
    dark = rng.random() < 0.12
    return Room(
        tuple(boxes),
        way / np.linalg.norm(way),
        sun,
        sky,
        sky * rng.uniform(0.15, 0.7),
        float(rng.uniform(0.4, 1.0)),
        float(bright * rng.uniform(0.55, 1.7) * (0.35 if dark else 1.0)),
        float(rng.uniform(0.40, 0.58)),
        np.clip(1 + 0.07 * rng.standard_normal(3), 0.75, 1.25),
        float(rng.uniform(0, 0.7)),
        float(max(0.0, rng.normal(-0.05, 0.1))),
        int(rng.integers(layers)),
        int(rng.integers(layers)),
        float(rng.choice([0.0, 1.0, 2.0, 3.5])),
    )
