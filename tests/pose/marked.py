"""Files of marks as a person would leave them."""

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from pose.landmarks import LANDMARKS

#: A dog that faces right, 100 px from withers to croup, its paws well apart.
DOG_PX = np.array([[240.0, 200], [200, 195], [140, 200], [100, 195], [220, 100], [120, 100]])


def mark(number: int, picture: int, xy: np.ndarray = DOG_PX, visibility: int | Sequence[int] = 2, **more: Any) -> dict:
    """An annotation of one dog."""
    seen = np.broadcast_to(visibility, len(LANDMARKS))
    points = [value for (x, y), v in zip(xy.tolist(), seen.tolist(), strict=True) for value in (x, y, v)]
    return {"id": number, "image_id": picture, "category_id": 1, "keypoints": points} | more


def words(*marks: dict, pictures: int = 1, **more: Any) -> dict:
    """A whole file of marks."""
    return {
        "categories": [{"id": 1, "name": "dog", "keypoints": list(LANDMARKS)}],
        "images": [
            {"id": row + 1, "file_name": f"{row + 1}.png", "width": 480, "height": 360} for row in range(pictures)
        ],
        "annotations": list(marks or [mark(1, 1)]),
    } | more


def put(folder: Path, content: dict, name: str = "marks.json") -> Path:
    """Write a file of marks."""
    (folder / name).write_text(json.dumps(content))
    return folder / name
