"""Plans: what clips to draw, read from TOML and checked before anything is drawn."""

import datetime
import difflib
import math
import tomllib
import types
import typing
from collections.abc import Collection, Iterable
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import Any, Final

import numpy as np

from training.errors import DrawError, FootageError
from training.footage.build import EARS, KINDS, TAILS, Build
from training.footage.look import PATTERNS, Look
from training.footage.movement import GAITS, Pattern
from training.footage.posing import Carriage


@dataclass(frozen=True, slots=True)
class ClipPlan:
    """One clip to draw.

    dog, condition, date, baseline   what the trial sheet says
    seed        room, camera, stride-to-stride spread; identity = number of the dog (same number, same dog)
    kind, build, look, carriage   kind of build and single fields of Build, Look and Carriage to set
    gaits       list of {gait, strides, ...fields of Pattern}
    fps, size, facing, seconds   of the film; dark = bad light; noise = SD of picture noise (grey levels)
    spread      SD of event times, share of the stride
    yaw_deg, pitch_deg   deg, of the camera from square and from level; fill = share of the width that the dog takes
    passer      number of a second dog that walks through the picture behind the first; none is left out
    """

    name: str
    dog: str
    gaits: tuple[dict[str, Any], ...]
    seed: int = 1
    identity: int = 0
    kind: str | None = None
    build: dict[str, Any] = field(default_factory=dict)
    look: dict[str, Any] = field(default_factory=dict)
    carriage: dict[str, Any] = field(default_factory=dict)
    condition: str = "bare"
    baseline: bool = True
    date: str = "2026-03-02"
    fps: float = 60.0
    size: tuple[int, int] = (640, 360)
    facing: str = "right"
    seconds: float = 5.0
    dark: bool = False
    noise: float = 2.0
    spread: float = 0.010
    yaw_deg: float = 4.0
    pitch_deg: float = 5.0
    fill: float = 0.55
    passer: int | None = None
    notes: str = "drawn footage, invented dog"


@dataclass(frozen=True, slots=True)
class _Steps:
    """The keys of a row of ``gaits`` beside those of Pattern."""

    gait: str
    strides: int


#: Words that a key may have.
_CHOICES: Final[dict[str, tuple[str, ...]]] = {
    "kind": KINDS,
    "facing": ("left", "right"),
    "gait": GAITS,
    "tail_shape": TAILS,
    "ear_shape": EARS,
}
#: (least, most) of a number: beyond these the dog or the film makes no sense. Our own choice.
_LIMITS: Final[dict[str, tuple[float, float]]] = {
    "seed": (0, 2**31), "identity": (0, 2**31), "passer": (0, 2**31), "strides": (1, 1000),
    "fps": (1, 1000), "seconds": (0.02, 600), "noise": (0, 100), "spread": (0, 0.1), "fill": (0.05, 1.0),
    "yaw_deg": (-60, 60), "pitch_deg": (-10, 60), "withers_m": (0.1, 1.2),
    "duty_hind": (0.05, 0.95), "duty_fore": (0.05, 0.95), "stride_s": (0.1, 10), "travel": (0, 1.5), "lift": (0, 0.5),
    "pattern": (0, len(PATTERNS) - 1), "shells": (1, 40),
}  # fmt: skip
_SHAPES: Final[dict[str, tuple[int, ...]]] = {
    "coat": (4, 3), "thresholds": (8,), "bands": (5, 4), "band_colour": (5, 3), "band_part": (5, 3),
    "boot_colour": (3,), "clipped": (4,),
}  # fmt: skip
_KIND_WORDS: Final[dict[type, str]] = {
    str: "text in quotes", float: "a number", int: "a whole number", bool: "true or false",
    dict: "a table in braces", tuple: "a list", np.ndarray: "a list of numbers",
}  # fmt: skip
_LEAST_PX, _MOST_PX = 32, 4096


def read_plans(path: Path) -> list[ClipPlan]:
    """The clips of a plan file: tables under [[clip]]. Raises FootageError or DrawError, which names the key."""
    try:
        found = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise FootageError(f"The plan {path} cannot be read: {error.strerror}. Give a plan of clips (TOML).") from error
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise DrawError(f"The plan {path} cannot be read: {str(error).splitlines()[0]}") from error
    _known(found, ("clip",), path.name)
    rows = found.get("clip")
    if not isinstance(rows, list) or not rows or not all(isinstance(row, dict) for row in rows):
        raise DrawError(f"{path.name} names no clip; write one table [[clip]] for each.")
    plans = [_plan(row, f"{path.name}, clip {number}") for number, row in enumerate(rows, 1)]
    _no_twins([plan.name for plan in plans], path.name)
    return plans


def choose(plans: list[ClipPlan], names: Collection[str]) -> list[ClipPlan]:
    """The plans of those names, in the order of the plan file; all of them when ``names`` is empty."""
    known = [plan.name for plan in plans]
    for name in names:
        if name not in known:
            raise DrawError(f"The plan has no clip {name!r}; did you mean {_nearest(name, known)}?")
    return [plan for plan in plans if not names or plan.name in names]


def _plan(row: dict[str, Any], where: str) -> ClipPlan:
    given = _checked(row, (ClipPlan,), where)
    if missing := [key for key in ("name", "dog", "gaits") if key not in given]:
        raise DrawError(f"{where}: {missing[0]} is missing; a clip needs name, dog and gaits.")
    _check_name(given["name"], where)
    _check_size(given.get("size", (640, 360)), where)
    for key, kind in (("build", Build), ("look", Look), ("carriage", Carriage)):
        given[key] = _checked(given.get(key, {}), (kind,), f"{where}, {key}")
    given["gaits"] = tuple(_gait_row(part, f"{where}, gaits {n}") for n, part in enumerate(given["gaits"], 1))
    if not given["gaits"]:
        raise DrawError(f"{where}: gaits is empty; write at least one {{ gait = ..., strides = ... }}.")
    plan = ClipPlan(**given)
    if plan.seconds * plan.fps < 1:
        raise DrawError(f"{where}: {plan.seconds:g} s at {plan.fps:g} frames a second are not one frame; draw longer.")
    return plan


def _gait_row(row: Any, where: str) -> dict[str, Any]:
    if not isinstance(row, dict):
        raise DrawError(f"{where} is {row!r}; it has to be a table in braces.")
    given = _checked(row, (_Steps, Pattern), where)
    if missing := {"gait", "strides"} - given.keys():
        raise DrawError(f"{where}: {min(missing)} is missing; it needs gait and strides.")
    return given


def _checked(row: dict[str, Any], nouns: tuple[type, ...], where: str) -> dict[str, Any]:
    """The values of ``row``, each of the kind that the field of its name has in one of ``nouns``."""
    kinds = {key: kind for noun in nouns for key, kind in _kinds(noun).items()}
    _known(row, kinds, where)
    return {key: _value(key, value, kinds[key], where) for key, value in row.items()}


def _kinds(noun: Any) -> dict[str, type]:
    hints = typing.get_type_hints(noun)
    return {item.name: _plain_type(hints[item.name]) for item in fields(noun)}


def _plain_type(hint: Any) -> type:
    if isinstance(hint, types.UnionType):
        hint = next(part for part in typing.get_args(hint) if part is not types.NoneType)
    plain: type = typing.get_origin(hint) or hint
    return plain


def _value(key: str, value: Any, kind: type, where: str) -> Any:
    if key == "date" and isinstance(value, datetime.date):
        return value.isoformat()
    if kind is float and type(value) is int:
        value = float(value)
    if type(value) is not (list if kind in (tuple, np.ndarray) else kind):
        raise DrawError(f"{where}: {key} is {value!r}; it has to be {_KIND_WORDS[kind]}.")
    return _fitting(key, value, kind, where)


def _fitting(key: str, value: Any, kind: type, where: str) -> Any:
    """``value``, known to be of its kind, if it lies within its limits, has its shape or is one of its words."""
    if kind in (int, float):
        _check_number(key, value, where)
    if kind is np.ndarray:
        _check_shape(key, value, where)
    if key in _CHOICES:
        _known((value,), _CHOICES[key], f"{where}, {key}")
    return tuple(value) if kind is tuple else value


def _known(given: Iterable[str], known: Collection[str], where: str) -> None:
    for key in given:
        if key not in known:
            allowed = ", ".join(known)
            raise DrawError(f"{where}: unknown {key!r}; did you mean {_nearest(key, known)}? Allowed: {allowed}.")


def _nearest(word: str, known: Collection[str]) -> str:
    return difflib.get_close_matches(word, known, n=1, cutoff=0.0)[0]


def _check_number(key: str, value: float, where: str) -> None:
    least, most = _LIMITS.get(key, (-math.inf, math.inf))
    if not (math.isfinite(value) and least <= value <= most):
        raise DrawError(f"{where}: {key} is {value:g}; it has to lie between {least:g} and {most:g}.")


def _check_shape(key: str, value: list[Any], where: str) -> None:
    shape = _SHAPES[key]
    try:
        numbers = np.array(value, dtype=np.float64)
    except (ValueError, TypeError):
        numbers = np.empty(0)
    if numbers.shape != shape or not np.isfinite(numbers).all():
        raise DrawError(f"{where}: {key} has to hold {' x '.join(map(str, shape))} numbers.")


def _check_name(name: str, where: str) -> None:
    if not name or name != Path(name).name or name.startswith("."):
        raise DrawError(f"{where}: name is {name!r}; it becomes the name of files and cannot hold a folder.")


def _check_size(size: tuple[Any, ...], where: str) -> None:
    fits = len(size) == 2 and all(type(px) is int and _LEAST_PX <= px <= _MOST_PX and px % 2 == 0 for px in size)
    if not fits:
        raise DrawError(f"{where}: size is {list(size)}; give width and height in px, even, {_LEAST_PX} to {_MOST_PX}.")


def _no_twins(names: list[str], where: str) -> None:
    for name in names:
        if names.count(name) > 1:
            raise DrawError(f"{where}: two clips are named {name!r}; every clip needs a name of its own.")
