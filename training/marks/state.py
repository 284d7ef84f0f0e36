"""What a person has said of one picture so far, as the page sends it and the store keeps it."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from pose.coco import FACINGS, NOT_MARKED, VISIBILITIES
from pose.errors import MarksError
from pose.landmarks import CROUP, LANDMARKS, PAIR_NAMES, WITHERS

#: x, y in px and visibility; a landmark that is not in the picture is NOWHERE.
Point = tuple[float, float, int]
NOWHERE: Final[Point] = (0.0, 0.0, NOT_MARKED)

#: What a picture showed before the person began: the answer of a network, or nothing.
NETWORK, BLANK = "network", "blank"
STARTS: Final = (NETWORK, BLANK)

#: Decimals of a px that are kept: finer than the finest step of a key.
DECIMALS: Final = 2


@dataclass(frozen=True, slots=True)
class PictureMarks:
    """One dog in one picture, or the statement that there is none.

    points      six in the order of LANDMARKS, x and y in px with pixel centres on whole numbers; None = not decided
    facing      "left", "right" or None
    sides_sure  whether near and far of the fore and of the hind pair are known
    finished    the person said that all of it is right; only then it counts as a mark
    no_dog      the picture shows no dog
    start       what was there before: "network" or "blank"
    """

    points: tuple[Point | None, ...]
    facing: str | None = None
    sides_sure: tuple[bool, bool] = (True, True)
    finished: bool = False
    no_dog: bool = False
    start: str = NETWORK

    def as_dict(self) -> dict[str, Any]:
        """Plain values, as ``from_dict`` takes them."""
        return {
            "points": [list(point) if point else None for point in self.points],
            "facing": self.facing,
            "sides_sure": dict(zip(PAIR_NAMES, self.sides_sure, strict=True)),
            "finished": self.finished,
            "no_dog": self.no_dog,
            "start": self.start,
        }


def from_dict(words: Any, size_px: tuple[int, int]) -> PictureMarks:
    """The marks of a picture of ``size_px`` (width, height) from plain values. Raises MarksError when they are none."""
    if not isinstance(words, Mapping):
        raise MarksError(f"marks of a picture came as {words!r}; they have to be names with values.")
    points, sure = words.get("points"), words.get("sides_sure")
    if not isinstance(points, list) or len(points) != len(LANDMARKS):
        raise MarksError(f"points came as {points!r}; {len(LANDMARKS)} are needed, each a place or null.")
    if not isinstance(sure, Mapping) or not all(isinstance(sure.get(name), bool) for name in PAIR_NAMES):
        raise MarksError(f"sides_sure came as {sure!r}; it takes fore and hind, each true or false.")
    finished, no_dog = (_one_of(words, name, (True, False)) for name in ("finished", "no_dog"))
    if no_dog:
        return without_dog(finished)
    placed = tuple(_point(value, name, size_px) for value, name in zip(points, LANDMARKS, strict=True))
    marks = PictureMarks(
        points=placed,
        facing=_facing(placed) or _one_of(words, "facing", (*FACINGS, None)),
        sides_sure=(sure[PAIR_NAMES[0]], sure[PAIR_NAMES[1]]),
        finished=finished,
        start=_one_of(words, "start", STARTS),
    )
    _check_finished(marks)
    return marks


def without_dog(finished: bool) -> PictureMarks:
    """What is said of a picture that shows no dog."""
    return PictureMarks((None,) * len(LANDMARKS), finished=finished, no_dog=True)


def _facing(points: tuple[Point | None, ...]) -> str | None:
    """The way that the withers lie before the croup; None where one of them is not placed."""
    withers, croup = points[WITHERS], points[CROUP]
    if not withers or not croup or not (withers[2] and croup[2]) or withers[0] == croup[0]:
        return None
    return "right" if withers[0] > croup[0] else "left"


def _one_of(words: Mapping[str, Any], key: str, allowed: tuple[Any, ...]) -> Any:
    value = words.get(key)
    if not any(value is one or (isinstance(one, str) and value == one) for one in allowed):
        raise MarksError(f"{key} came as {value!r}; allowed are {', '.join(map(repr, allowed))}.")
    return value


def _point(value: Any, name: str, size_px: tuple[int, int]) -> Point | None:
    if value is None:
        return None
    if not isinstance(value, list) or len(value) != 3 or isinstance(value[2], bool) or value[2] not in VISIBILITIES:
        raise MarksError(f"{name} came as {value!r}; it takes x, y and a visibility of 0, 1 or 2.")
    x, y, visibility = value
    if visibility == NOT_MARKED:
        return NOWHERE
    for place, side in zip((x, y), size_px, strict=True):
        if not _is_number(place) or not 0 <= place <= side - 1:
            raise MarksError(f"{name} came at ({x!r}, {y!r}), outside its picture of {size_px[0]}x{size_px[1]} px.")
    return round(float(x), DECIMALS), round(float(y), DECIMALS), int(visibility)


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def _check_finished(marks: PictureMarks) -> None:
    if not marks.finished:
        return
    left = [name for name, point in zip(LANDMARKS, marks.points, strict=True) if point is None]
    if left:
        raise MarksError(f"{left[0]} is neither placed nor said to be out of the picture; decide it before finishing.")
    withers, croup = marks.points[WITHERS], marks.points[CROUP]
    if withers and croup and withers[2] and croup[2] and withers[:2] == croup[:2]:
        raise MarksError("withers and croup lie on one place; their distance is the measure, so move one of them.")
