"""A caseload to be drawn: which dog was filmed when and how, and what was planted in it. Nothing is drawn here.

One dog in ten changes between its second and its third visit, and one in ten comes as often without a change. The other
dogs take turns: one visit, one visit bare and in boots, one visit at a walk and a trot, two visits without a change.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any, Final

import numpy as np

from training.errors import DrawError
from training.footage.movement import Pattern, draw_pattern
from training.footage.plan import ClipPlan
from training.footage.staging import build_of

#: Dogs of a caseload are numbered from here; no training picture and no other planned clip shows them.
_FIRST_IDENTITY: Final = 4000
#: Visits of a dog that is followed, and clips of each: they tell how far the dog differs from clip to clip.
VISITS, CLIPS = 3, 3
#: A clip lasts so many strides, and s at least: of three slow strides hardly anything can be said.
_STRIDES, _LEAST_S = 7.5, 4.0
_FIRST_DAY, _BETWEEN = date(2026, 3, 2), timedelta(days=28)
#: Shares in which broad gaits are clear: limb phase and hind duty factor.
_CLEAR: Final = {"walk": ((0.20, 0.26), (0.60, 0.66)), "trot": ((0.46, 0.50), (0.42, 0.46))}


@dataclass(frozen=True, slots=True)
class Way:
    """How a dog goes: its footfall pattern, and the pitch of its trunk in rad."""

    pattern: Pattern
    pitch: float


@dataclass(frozen=True, slots=True)
class Steadiness:
    """SD from clip to clip of what a dog does without a cause; our own choice, of the size that dogs on a belt show.

    stride  share of the stride time; duty, phase  shares of the stride; pitch  rad
    visits  how much of the same SD visits differ by, besides
    yaw_deg, pitch_deg, roll_deg   of the tripod, from visit to visit
    """

    stride: float = 0.01
    duty: float = 0.004
    phase: float = 0.006
    pitch: float = 0.0045
    visits: float = 0.5
    yaw_deg: float = 1.0
    pitch_deg: float = 0.5
    roll_deg: float = 0.5


@dataclass(frozen=True, slots=True)
class PlantedClip:
    """One clip: its plan, belt in m/s, withers in cm, how it is badly filmed ("" = well), turn of the camera in deg."""

    plan: ClipPlan
    belt_m_s: float
    withers_cm: float
    bad: str = ""
    roll_deg: float = 0.0


@dataclass(frozen=True, slots=True)
class PlantedDog:
    """One dog: what it is there for, its clips, and what changed ("" = nothing) in words and in one of the measures."""

    name: str
    part: str
    clips: tuple[PlantedClip, ...]
    change: str = ""
    measure: str = ""


@dataclass(frozen=True, slots=True)
class Change:
    """A change that is planted: in words, one of the measures that shows it, and what it does to a way of going."""

    words: str
    measure: str
    apply: Callable[[Way], Way]


def _stride(factor: float) -> Callable[[Way], Way]:
    return lambda way: replace(way, pattern=replace(way.pattern, stride_s=way.pattern.stride_s * factor))


def _duty(more: float) -> Callable[[Way], Way]:
    return lambda w: replace(
        w, pattern=replace(w.pattern, duty_hind=w.pattern.duty_hind + more, duty_fore=w.pattern.duty_fore + more)
    )


def _tilt(pitch: float) -> Callable[[Way], Way]:
    return lambda way: replace(way, pitch=way.pitch + pitch)


def _paced(way: Way) -> Way:
    return replace(way, pattern=replace(way.pattern, gait="pace", limb_phase=0.01))


#: In this order, over and over. The belt runs as before. Sizes by judgement: some three times what dogs show anyway.
CHANGES: Final = (
    Change("strides 12 % shorter at the same speed of the belt", "stride_length_m", _stride(0.88)),
    Change("the trunk tilted by 4 degrees, croup higher", "topline_deg", _tilt(-0.07)),
    Change("paces instead of trotting, at the same speed of the belt", "", _paced),
    Change("every paw on the belt for 5 % of the stride longer", "hind_duty_factor", _duty(0.05)),
    Change("strides 12 % longer at the same speed of the belt", "stride_length_m", _stride(1.12)),
    Change("the trunk tilted by 4 degrees, withers higher", "topline_deg", _tilt(0.07)),
)  # fmt: skip
#: How clips are badly filmed, in this order, over and over.
BAD: Final = ("15 frames a second", "less than one second long", "much too dark", "a board before the paws")


@dataclass(frozen=True, slots=True)
class Slot:
    """What is filmed at one moment: visit, condition, gait."""

    visit: int
    condition: str = "bare"
    gait: str = "trot"


def planted_dogs(
    dogs: int, clips: int, bad: int, *, film: bool, steady: Steadiness = Steadiness()
) -> tuple[PlantedDog, ...]:
    """``dogs`` dogs with ``clips`` clips in all, of which ``bad`` are badly filmed, no two of one dog.

    film  whether they are to be drawn as films, which are small, or as landmark tables
    """
    followed = dogs // 10
    left, others = clips - 2 * followed * VISITS * CLIPS, dogs - 2 * followed
    if left < others or others < 1:
        raise DrawError(
            f"{clips} clips are too few for {dogs} dogs, {2 * followed} of which have {VISITS * CLIPS}; plan more."
        )
    counts = [VISITS * CLIPS] * (2 * followed) + [left // others + (n < left % others) for n in range(others)]
    return tuple(_dog(n, followed, count, bad, film, steady) for n, count in enumerate(counts))


def _dog(number: int, followed: int, count: int, bad: int, film: bool, steady: Steadiness) -> PlantedDog:
    if number < 2 * followed:
        change = CHANGES[number % len(CHANGES)] if number < followed else None
        return followed_dog(number, change, steady, film=film)
    name, gait, other = _name(number), _gait(number), number - 2 * followed
    part, turns = _TURNS[other % len(_TURNS)]
    found = list(_clips(number, name, [turns(n, gait) for n in range(count)], film, steady))
    if part == "one visit" and other // len(_TURNS) < bad:
        found[-1] = _badly(found[-1], BAD[other // len(_TURNS) % len(BAD)])
    return PlantedDog(name, part, tuple(found))


def _name(number: int) -> str:
    return f"Dog {number + 1:02d}"


def _gait(number: int) -> str:
    return ("trot", "walk")[number % 2]


def followed_dog(
    number: int, change: Change | None = None, steady: Steadiness = Steadiness(), *, film: bool = False
) -> PlantedDog:
    """A dog that comes VISITS times, CLIPS clips each; ``change`` is there at the last visit, None = there is none."""
    name, gait = _name(number), "trot" if change and change.apply is _paced else _gait(number)
    slots = [Slot(visit, gait=gait) for visit in range(VISITS) for _ in range(CLIPS)]
    clips = tuple(_clips(number, name, slots, film, steady, change))
    if change is None:
        return PlantedDog(name, "unchanged", clips)
    return PlantedDog(name, "changed", clips, change.words, change.measure)


#: What the other dogs are there for, and what their clip of that number is.
_TURNS: Final[tuple[tuple[str, Callable[[int, str], Slot]], ...]] = (
    ("one visit", lambda n, gait: Slot(0, "bare", gait)),
    ("two conditions", lambda n, gait: Slot(0, ("bare", "boots")[n % 2], gait)),
    ("two gaits", lambda n, gait: Slot(0, "bare", ("walk", "trot")[n % 2])),
    ("two visits", lambda n, gait: Slot(n % 2, "bare", gait)),
)


def _clips(
    number: int, name: str, slots: list[Slot], film: bool, steady: Steadiness, change: Change | None = None
) -> Iterator[PlantedClip]:
    identity = _FIRST_IDENTITY + number
    rng = np.random.default_rng((8200, number))
    withers_m = build_of(ClipPlan("", "", (), identity=identity)).withers_m
    usual = {gait: _usual(rng, gait, withers_m) for gait in ("walk", "trot")}
    days = [_Day.of(rng, steady) for _ in range(VISITS)]
    for place, slot in enumerate(slots):
        base = usual[slot.gait]
        speed = base.pattern.travel / (base.pattern.duty_hind * base.pattern.stride_s)
        way = change.apply(base) if change and slot.visit == VISITS - 1 else base
        way = _varied(_varied(way, steady, days[slot.visit].way), steady, rng.standard_normal(4))
        nth = 1 + sum(earlier == slot for earlier in slots[:place])
        plan = _plan(name, slot, nth, way, speed, film)
        view = days[slot.visit].view
        plan = replace(plan, identity=identity, seed=100 * number + place, facing=("right", "left")[number // 2 % 2],
                       date=(_FIRST_DAY + timedelta(days=number % 5) + slot.visit * _BETWEEN).isoformat(),
                       yaw_deg=4 + float(view[0]), pitch_deg=5 + float(view[1]))  # fmt: skip
        yield PlantedClip(plan, speed * withers_m, 100 * withers_m, roll_deg=float(view[2]))


@dataclass(frozen=True, slots=True)
class _Day:
    """What one visit differs by: way (4,) in SDs from clip to clip, view (3,) deg."""

    way: np.ndarray
    view: np.ndarray

    @staticmethod
    def of(rng: np.random.Generator, steady: Steadiness) -> "_Day":
        """A random visit."""
        view = np.array([steady.yaw_deg, steady.pitch_deg, steady.roll_deg]) * rng.standard_normal(3)
        return _Day(steady.visits * rng.standard_normal(4), view)


def _usual(rng: np.random.Generator, gait: str, withers_m: float) -> Way:
    """A random way of going that has a clear name."""
    phase, duty = (float(rng.uniform(*limits)) for limits in _CLEAR[gait])
    drawn = draw_pattern(rng, gait, withers_m)
    more = float(rng.uniform(-0.01, 0.03))
    pattern = replace(drawn, limb_phase=phase, duty_hind=duty, duty_fore=duty + more, hind_lag=0.5, fore_lag=0.5)
    return Way(replace(pattern, travel=min(pattern.travel, 0.65)), float(rng.normal(0, 0.02)))


def _varied(way: Way, steady: Steadiness, by: np.ndarray) -> Way:
    """``way`` as the dog goes it at one time; by (4,) in SDs."""
    p = way.pattern
    duty = steady.duty * float(by[1])
    changed = replace(
        p,
        stride_s=p.stride_s * (1 + steady.stride * float(by[0])),
        duty_hind=p.duty_hind + duty,
        duty_fore=p.duty_fore + duty,
        limb_phase=p.limb_phase + steady.phase * float(by[2]),
    )
    return Way(changed, way.pitch + steady.pitch * float(by[3]))


#: Fields of a pattern that a plan gives itself; travel follows from the speed of the belt.
_GIVEN: Final = ("duty_hind", "duty_fore", "limb_phase", "hind_lag", "fore_lag", "stride_s", "lift", "bounce")


def _plan(name: str, slot: Slot, nth: int, way: Way, speed: float, film: bool) -> ClipPlan:
    p, seconds = way.pattern, round(max(_LEAST_S, _STRIDES * way.pattern.stride_s), 2)
    row = {"gait": p.gait, "strides": int(seconds / p.stride_s) + 3, "travel": speed * p.duty_hind * p.stride_s}
    row |= {key: getattr(p, key) for key in _GIVEN}
    return ClipPlan(
        name=f"{name.lower().replace(' ', '-')}-visit-{slot.visit + 1}-{slot.condition}-{slot.gait}-{nth}",
        dog=name,
        gaits=(row,),
        carriage={"pitch": way.pitch},
        look={"boot": 0.13, "boot_colour": [0.02, 0.10, 0.30]} if slot.condition == "boots" else {},
        condition=slot.condition,
        baseline=slot.condition == "bare",
        size=(480, 270) if film else (960, 540),
        seconds=seconds,
        spread=0.010,
        fill=0.62 if film else 0.55,
    )


def _badly(clip: PlantedClip, how: str) -> PlantedClip:
    changes: dict[str, dict[str, Any]] = {BAD[0]: {"fps": 15.0}, BAD[1]: {"seconds": 0.7}}
    return replace(clip, bad=how, plan=replace(clip.plan, **changes.get(how, {})))
