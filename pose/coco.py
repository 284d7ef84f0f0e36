"""Marked pictures in the form of COCO keypoints, in and out (cocodataset.org/#format-data, from memory, not read).

Pixel centres lie on whole numbers. Whatever else a file says of its pictures, its dogs and itself is kept and written
again; its categories become one, with the landmarks in their fixed order.
"""

import json
import math
import os
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from difflib import get_close_matches
from pathlib import Path
from typing import Any, Final

import numpy as np

from pose.errors import MarksError
from pose.landmarks import CROUP, LANDMARKS, PAIR_NAMES, WITHERS
from pose.tracks import BoolArray, FloatArray, IntArray, frozen_array

Entry = Mapping[str, Any]

#: What COCO calls a keypoint's visibility.
NOT_MARKED, COVERED, VISIBLE = 0, 1, 2
VISIBILITIES: Final = (NOT_MARKED, COVERED, VISIBLE)
FACINGS: Final = ("left", "right")
LISTS: Final = ("images", "annotations", "categories")

#: Largest number that an entry may carry: what 64 bits hold.
LARGEST: Final = 2**63 - 1

#: Limbs from withers and croup to the paws, and the topline; counted from 1, as COCO does.
SKELETON: Final = [[paw + 1, (WITHERS if paw < 2 else CROUP) + 1] for paw in range(4)] + [[WITHERS + 1, CROUP + 1]]
CATEGORY: Final = {"id": 1, "name": "dog", "supercategory": "animal"}


@dataclass(frozen=True, slots=True, eq=False)
class Marks:
    """P pictures and the N dogs marked in them.

    files       P names, relative to the folder of the marks
    image_id    (P,) int, the numbers of the pictures in the file
    size_px     (P, 2) int, width and height that the marks were made at
    mark_id     (N,) int, the numbers of the annotations in the file
    picture     (N,) int, row of the dog's picture
    xy_px       (N, 6, 2) px; NaN where a landmark was not marked
    visibility  (N, 6) int, 0 not marked, 1 covered but placed, 2 visible
    image_notes, mark_notes  P and N mappings of everything else that the file says of a picture or a dog
    about       everything else in the file
    """

    files: tuple[str, ...]
    image_id: IntArray
    size_px: IntArray
    mark_id: IntArray
    picture: IntArray
    xy_px: FloatArray
    visibility: IntArray
    image_notes: tuple[Entry, ...] = ()
    mark_notes: tuple[Entry, ...] = ()
    about: Entry = field(default_factory=dict)

    def __post_init__(self) -> None:
        put = object.__setattr__
        for name in ("image_id", "size_px", "mark_id", "picture", "visibility"):
            put(self, name, frozen_array(getattr(self, name), np.int64))
        put(self, "xy_px", frozen_array(self.xy_px, np.float64))
        for name, count in (("image_notes", len(self.files)), ("mark_notes", len(self.mark_id))):
            put(self, name, getattr(self, name) or ({},) * count)
        self._check()

    def _check(self) -> None:
        pictures, dogs, marks = len(self.files), len(self.mark_id), len(LANDMARKS)
        wanted = {
            "image_id": (pictures,), "size_px": (pictures, 2), "picture": (dogs,),
            "xy_px": (dogs, marks, 2), "visibility": (dogs, marks),
        }  # fmt: skip
        for name, shape in wanted.items():
            if getattr(self, name).shape != shape:
                raise MarksError(f"Marks.{name} has shape {getattr(self, name).shape}; {shape} is needed.")
        if (len(self.image_notes), len(self.mark_notes)) != (pictures, dogs):
            raise MarksError(f"Marks need notes for {pictures} pictures and {dogs} dogs, or none at all.")
        if np.any(np.isfinite(self.xy_px).all(axis=-1) != (self.visibility > NOT_MARKED)):
            raise MarksError("Marks.xy_px must be NaN exactly where visibility is 0.")

    def __len__(self) -> int:
        return len(self.mark_id)

    def dogs_in(self, picture: int) -> IntArray:
        """Rows of the dogs marked in a picture."""
        return np.flatnonzero(self.picture == picture)

    def facing(self, dog: int) -> str | None:
        """ "left" or "right": what the marks say, else where the withers lie beside the croup; None = not told."""
        said: str | None = _attributes(self.mark_notes[dog]).get("facing")
        ahead = float(self.xy_px[dog, WITHERS, 0] - self.xy_px[dog, CROUP, 0])
        if said or not ahead or math.isnan(ahead):
            return said
        return "right" if ahead > 0 else "left"

    def sides_sure(self, dog: int) -> BoolArray:
        """(2,) whether near and far were known when the fore and the hind pair were marked; so unless it says not."""
        said = _attributes(self.mark_notes[dog]).get("sides_sure", {})
        return np.array([said.get(name, True) for name in PAIR_NAMES])


def _attributes(notes: Entry) -> Entry:
    found: Entry = notes.get("attributes") or {}
    return found


def read_marks(path: str | Path) -> Marks:
    """The marks in ``path`` (.json), checked; whether the pictures are there is another question: ``picture_paths``.

    Raises MarksError that names the file, the picture or annotation and the keypoint that is wrong.
    """
    path = Path(path)
    words = _load(path)
    try:
        return _marks_of(words)
    except _Wrong as error:
        raise MarksError(f"{path.name}: {error}") from None


def write_marks(marks: Marks, path: str | Path) -> None:
    """Write ``marks`` to ``path``, which appears whole or not at all; reading it gives the same marks."""
    path = Path(path)
    beside = path.with_name(f".{path.name}.partial-{os.getpid()}")
    try:
        beside.write_text(json.dumps(marks_as_dict(marks), indent=1, allow_nan=False) + "\n", encoding="utf-8")
        os.replace(beside, path)
    finally:
        beside.unlink(missing_ok=True)


def marks_as_dict(marks: Marks) -> dict[str, Any]:
    """The marks as plain values in the form of COCO keypoints, landmarks in their fixed order."""
    category = {**CATEGORY, "keypoints": list(LANDMARKS), "skeleton": SKELETON}
    return {
        **marks.about,
        "categories": [category],
        "images": [_image_entry(marks, row) for row in range(len(marks.files))],
        "annotations": [_mark_entry(marks, row) for row in range(len(marks))],
    }


def picture_paths(marks: Marks, folder: str | Path) -> list[Path]:
    """Where the pictures lie, beside the marks in ``folder``. Raises MarksError when one is missing."""
    paths = [Path(folder) / name for name in marks.files]
    missing = [name for name, path in zip(marks.files, paths, strict=True) if not path.is_file()]
    if missing:
        raise MarksError(
            f"{len(missing)} of {len(paths)} pictures are not there, the first is {missing[0]} (image "
            f"{marks.image_id[marks.files.index(missing[0])]}). Put the pictures beside the file of marks, or take "
            "their entries out."
        )
    return paths


def _image_entry(marks: Marks, row: int) -> dict[str, Any]:
    width, height = (int(side) for side in marks.size_px[row])
    own = {"id": int(marks.image_id[row]), "file_name": marks.files[row], "width": width, "height": height}
    return own | dict(marks.image_notes[row])


def _mark_entry(marks: Marks, row: int) -> dict[str, Any]:
    places = np.nan_to_num(marks.xy_px[row], nan=0.0)
    seen = marks.visibility[row]
    points: list[float | int] = []
    for (x, y), visibility in zip(places, seen, strict=True):
        points += [_short(x), _short(y), int(visibility)]
    own = {
        "id": int(marks.mark_id[row]),
        "image_id": int(marks.image_id[marks.picture[row]]),
        "category_id": CATEGORY["id"],
        "keypoints": points,
        "num_keypoints": int((seen > NOT_MARKED).sum()),
    }
    return own | dict(marks.mark_notes[row])


def _short(value: float) -> float | int:
    """Whole numbers without a point, as files made by hand have them."""
    return int(value) if float(value).is_integer() else float(value)


class _Wrong(Exception):
    """What is wrong inside a file, without its name."""


def _load(path: Path) -> dict[str, Any]:
    if not path.is_file():
        raise MarksError(f"{path} is not a file. Give the .json file of marks; its pictures lie beside it.")
    try:
        words = json.loads(path.read_text(encoding="utf-8"))
    except json.JSONDecodeError as error:
        raise MarksError(
            f"{path.name} is not JSON: {error.msg} in line {error.lineno}. Save the marks again as COCO keypoints."
        ) from error
    except UnicodeDecodeError as error:
        raise MarksError(f"{path.name} is not text in UTF-8. Give the .json file of marks, not a picture.") from error
    lists = words if isinstance(words, dict) else {}
    bad = [name for name in LISTS if not isinstance(lists.get(name), list)]
    if bad:
        raise MarksError(
            f"{path.name} holds no list {bad[0]!r}. COCO keypoints need the lists images, annotations and categories."
        )
    return lists


def _marks_of(words: dict[str, Any]) -> Marks:
    orders = _orders(words["categories"])
    images = [_checked_image(entry, row) for row, entry in enumerate(words["images"])]
    _unique([entry["id"] for entry in images], "image")
    _unique([entry["file_name"] for entry in images], "file_name")
    if not images:
        raise _Wrong("lists no picture. Add one to 'images' for each picture beside the file.")
    rows = {entry["id"]: row for row, entry in enumerate(images)}
    dogs = [_checked_mark(entry, row, rows, orders) for row, entry in enumerate(words["annotations"])]
    _unique([entry["id"] for entry in dogs], "annotation")
    size_px = np.array([[entry["width"], entry["height"]] for entry in images])
    picture = np.array([rows[entry["image_id"]] for entry in dogs], np.int64)
    points = [
        _points(entry, orders[entry["category_id"]], size_px[at]) for entry, at in zip(dogs, picture, strict=True)
    ]
    found = np.array(points, np.float64).reshape(-1, len(LANDMARKS), 3)
    return Marks(
        files=tuple(entry["file_name"] for entry in images),
        image_id=np.array([entry["id"] for entry in images]),
        size_px=size_px,
        mark_id=np.array([entry["id"] for entry in dogs], np.int64),
        picture=picture,
        xy_px=found[..., :2],
        visibility=found[..., 2].astype(np.int64),
        image_notes=tuple(_without(entry, ("id", "file_name", "width", "height")) for entry in images),
        mark_notes=tuple(
            _without(entry, ("id", "image_id", "category_id", "keypoints", "num_keypoints")) for entry in dogs
        ),
        about=_without(words, LISTS),
    )


def _without(entry: Entry, names: Iterable[str]) -> dict[str, Any]:
    return {key: value for key, value in entry.items() if key not in names}


def _orders(categories: list[Any]) -> dict[int, list[int]]:
    """For each category the place in its keypoints of each landmark."""
    if not categories:
        raise _Wrong(f"has no category. Add one whose keypoints are {', '.join(LANDMARKS)}.")
    return {_number(entry, "id", "a category"): _order(entry) for entry in categories}


def _order(category: Entry) -> list[int]:
    where = f"category {category['id']}"
    names = category.get("keypoints")
    if not isinstance(names, list) or not all(isinstance(name, str) for name in names):
        raise _Wrong(f"{where} has no list of keypoints. Give it {', '.join(LANDMARKS)}, or take it out.")
    for name in names:
        if name not in LANDMARKS:
            nearest = get_close_matches(name, LANDMARKS, 1)
            hint = f"did you mean {nearest[0]}?" if nearest else f"known are {', '.join(LANDMARKS)}."
            raise _Wrong(f"{where} has the keypoint {name!r}, which is no landmark; {hint}")
    if sorted(names) != sorted(LANDMARKS):
        lacking = [name for name in LANDMARKS if name not in names]
        what = f"lacks the keypoint {lacking[0]}" if lacking else "names a keypoint twice"
        raise _Wrong(f"{where} {what}. Its keypoints have to be {', '.join(LANDMARKS)}, in any order.")
    return [names.index(name) for name in LANDMARKS]


def _checked_image(entry: Any, row: int) -> Entry:
    where = f"image {_number(entry, 'id', f'entry {row + 1} of images')}"
    name = entry.get("file_name")
    if not isinstance(name, str) or not name.strip():
        raise _Wrong(f"{where} has no file_name. Give the name of its picture.")
    if Path(name).is_absolute() or ".." in Path(name).parts:
        raise _Wrong(f"{where} has the file_name {name!r}. Pictures lie beside the file of marks or in folders there.")
    for side in ("width", "height"):
        if _number(entry, side, where) <= 0:
            raise _Wrong(f"{where} has the {side} {entry[side]}; give it in pixels, above 0.")
    return dict(entry)


def _checked_mark(entry: Any, row: int, rows: Mapping[int, int], orders: Mapping[int, Any]) -> Entry:
    where = f"annotation {_number(entry, 'id', f'entry {row + 1} of annotations')}"
    for key, known in (("image_id", rows), ("category_id", orders)):
        if _number(entry, key, where) not in known:
            raise _Wrong(
                f"{where} has the {key} {entry[key]}, which the file does not list. Add it or mend the number."
            )
    _check_attributes(entry.get("attributes"), where)
    return dict(entry)


def _check_attributes(attributes: Any, where: str) -> None:
    if attributes is None:
        return
    if not isinstance(attributes, dict):
        raise _Wrong(f"{where} has attributes {attributes!r}; they have to be names with values, or left out.")
    facing = attributes.get("facing")
    if facing not in (None, *FACINGS):
        raise _Wrong(f"{where} has the facing {facing!r}; it can be left or right, or left out.")
    sure = attributes.get("sides_sure", {})
    if not isinstance(sure, dict) or not all(isinstance(sure.get(name, True), bool) for name in PAIR_NAMES):
        raise _Wrong(f"{where} has sides_sure {sure!r}; it takes fore and hind, each true or false.")


def _points(entry: Entry, order: list[int], size_px: IntArray) -> list[list[float]]:
    """(6, 3) x, y and visibility in the order of LANDMARKS; NaN places where not marked."""
    where = f"annotation {entry['id']}"
    values = entry.get("keypoints")
    if not isinstance(values, list) or len(values) != 3 * len(LANDMARKS):
        came = f"{len(values)} numbers" if isinstance(values, list) else "no list"
        raise _Wrong(f"{where} has {came} for keypoints; {3 * len(LANDMARKS)} are needed: x, y, visibility of each.")
    points = []
    for name, place in zip(LANDMARKS, order, strict=True):
        x, y, visibility = values[3 * place : 3 * place + 3]
        points.append(_point(x, y, visibility, f"{where}, keypoint {name}", size_px))
    if _length(points) == 0:
        raise _Wrong(f"{where} has withers and croup on one place. Mark them again; their distance is the measure.")
    return points


def _length(points: list[list[float]]) -> float:
    """px from withers to croup; NaN when one is not marked."""
    return math.dist(points[WITHERS][:2], points[CROUP][:2])


def _point(x: Any, y: Any, visibility: Any, where: str, size_px: IntArray) -> list[float]:
    if isinstance(visibility, bool) or visibility not in VISIBILITIES:
        raise _Wrong(f"{where} has the visibility {visibility!r}; 0 = not marked, 1 = covered, 2 = visible.")
    if visibility == NOT_MARKED:
        return [math.nan, math.nan, NOT_MARKED]
    if not (_is_number(x) and _is_number(y)):
        raise _Wrong(f"{where} has the place ({x!r}, {y!r}); give two numbers in pixels, or visibility 0.")
    if not (-0.5 <= x <= size_px[0] and -0.5 <= y <= size_px[1]):
        raise _Wrong(f"{where} lies at ({x}, {y}), outside its picture of {size_px[0]}x{size_px[1]} px. Mark it again.")
    return [float(x), float(y), float(visibility)]


def _number(entry: Any, key: str, where: str) -> int:
    value = entry.get(key) if isinstance(entry, dict) else None
    if isinstance(value, bool) or not isinstance(value, int) or abs(value) > LARGEST:
        raise _Wrong(f"{where} has the {key} {value!r}; a whole number is needed.")
    return value


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def _unique(values: list[Any], what: str) -> None:
    twice = [value for value, count in Counter(values).items() if count > 1]
    if twice:
        raise _Wrong(f"{what} {twice[0]} is there twice. Give each its own.")
