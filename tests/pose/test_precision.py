"""OKS-AP against the interface of COCO itself, and against values that can be counted by hand."""

import contextlib
import io
import json
from pathlib import Path

import numpy as np
import pytest
from marked import DOG_PX
from pycocotools.coco import COCO
from pycocotools.cocoeval import COCOeval

from pose.judging import distances_bl, similarity
from pose.landmarks import CROUP, WITHERS
from pose.precision import THRESHOLDS, Finds, precision_facts, precisions

SIGMA = np.array([0.025, 0.025, 0.03, 0.03, 0.04, 0.05])
LENGTH_PX = 100.0
#: Both count the same; what is left is their guard against dividing by nothing.
SAME = 1e-9


def finds_of(marked_px: list[list[np.ndarray]], found_px: list[np.ndarray | None], score: list[float]) -> Finds:
    """Each picture's dogs (6, 2) px and what was found of them."""
    similar, count = [], []
    for dogs, found in zip(marked_px, found_px, strict=True):
        each = [0.0]
        if found is not None and dogs:
            marked, length = np.array(dogs), np.full(len(dogs), LENGTH_PX)
            each += list(similarity(distances_bl(marked, np.broadcast_to(found, marked.shape), length), SIGMA))
        similar.append(max(each))
        count.append(len(dogs))
    told = [value if found is not None else np.nan for value, found in zip(score, found_px, strict=True)]
    return Finds(np.array(told), np.array(similar), np.array(count))


def coco_of(
    folder: Path, marked_px: list[list[np.ndarray]], found_px: list[np.ndarray | None], score: list[float]
) -> np.ndarray:
    """(10,) precision at each threshold, from the interface of COCO; the area of a dog is its length squared."""
    images = [{"id": n + 1, "file_name": f"{n}.png", "width": 600, "height": 400} for n in range(len(marked_px))]
    marks = [
        {"id": 10 * n + k + 1, "image_id": n + 1, "category_id": 1, "area": LENGTH_PX**2, "iscrowd": 0,
         "bbox": [0, 0, 600, 400], "num_keypoints": int(np.isfinite(dog).all(axis=1).sum()), "keypoints": points(dog)}
        for n, dogs in enumerate(marked_px) for k, dog in enumerate(dogs)
    ]  # fmt: skip
    finds = [
        {"image_id": n + 1, "category_id": 1, "keypoints": points(dog), "score": score[n]}
        for n, dog in enumerate(found_px) if dog is not None
    ]  # fmt: skip
    file = folder / "marks.json"
    file.write_text(json.dumps({"images": images, "annotations": marks, "categories": [{"id": 1, "name": "dog"}]}))
    with contextlib.redirect_stdout(io.StringIO()):
        truth = COCO(str(file))
        judge = COCOeval(truth, truth.loadRes(finds), "keypoints")
        judge.params.kpt_oks_sigmas = SIGMA
        judge.params.areaRng, judge.params.areaRngLbl = judge.params.areaRng[:1], judge.params.areaRngLbl[:1]
        judge.evaluate()
        judge.accumulate()
    return np.asarray(judge.eval["precision"][:, :, 0, 0, 0].mean(axis=1))


def points(dog: np.ndarray) -> list[float]:
    """x, y and visibility of each landmark (6, 2) px; NaN = not marked."""
    there = np.isfinite(dog).all(axis=1)
    return np.column_stack([np.nan_to_num(dog), 2 * there]).ravel().tolist()


@pytest.mark.parametrize("seed", range(8))
def test_the_interface_of_coco_counts_the_same(tmp_path: Path, seed: int) -> None:
    """Pictures with no, one or two dogs; landmarks not marked; dogs found badly, in the wrong place, or not at all."""
    rng = np.random.default_rng(seed)
    marked, found, score = [], [], []
    for _ in range(40):
        dogs = [DOG_PX + rng.uniform(-60, 60, 2) for _ in range(rng.choice([0, 1, 1, 1, 2]))]
        for dog in dogs:
            dog[rng.random(6) < [0.3, 0.3, 0.3, 0.3, 0, 0]] = np.nan
        seen = dogs[0] if dogs else DOG_PX
        off = rng.normal(0, rng.choice([1.0, 4.0, 10.0]), (6, 2))
        # a landmark that nobody marked is found somewhere all the same
        found.append(None if rng.random() < 0.15 else np.where(np.isnan(seen), DOG_PX, seen) + off)
        marked.append(dogs)
        score.append(float(rng.random()))
    ours, theirs = precisions(finds_of(marked, found, score)), coco_of(tmp_path, marked, found, score)
    assert 0.05 < theirs.mean() < 0.95
    assert ours == pytest.approx(theirs, abs=SAME)


def finds(score: list[float], similar: list[float], marked: list[int] | None = None) -> Finds:
    return Finds(np.array(score), np.array(similar), np.array(marked or [1] * len(score)))


ABSENT = np.nan
KNOWN = [
    ("all right", finds([0.9, 0.5], [1.0, 1.0]), [1.0] * 10),
    ("none found", finds([ABSENT, ABSENT], [0.0, 0.0]), [0.0] * 10),
    # recalls 0, 0.01 ... 0.50 are reached, with full precision
    ("half of them, the surer one", finds([0.9, 0.5], [1.0, 0.0]), [51 / 101] * 10),
    ("half of them, the less sure one", finds([0.5, 0.9], [1.0, 0.0]), [0.5 * 51 / 101] * 10),
    ("as near as 0.72", finds([0.9], [0.72]), [1.0] * 5 + [0.0] * 5),
    ("a dog where none is, less sure", finds([0.9, 0.5], [1.0, 0.0], [1, 0]), [1.0] * 10),
    ("a dog where none is, surer", finds([0.5, 0.9], [1.0, 0.0], [1, 0]), [0.5] * 10),
    ("a second dog that nobody read", finds([0.9], [1.0], [2]), [51 / 101] * 10),
]


@pytest.mark.parametrize(("each", "wanted"), [row[1:] for row in KNOWN], ids=[row[0] for row in KNOWN])
def test_what_can_be_counted_by_hand(each: Finds, wanted: list[float]) -> None:
    assert precisions(each) == pytest.approx(wanted)


def test_without_a_marked_dog_there_is_nothing_to_say() -> None:
    assert np.isnan(precisions(finds([0.9], [0.0], [0]))).all()
    assert precision_facts(finds([0.9], [0.0], [0]), ["Ash"]) == {}


def test_the_interval_comes_from_dogs() -> None:
    """Nine pictures of a dog that is read and one each of two that are not."""
    each = finds([0.9] * 9 + [0.1] * 2, [1.0] * 9 + [0.0] * 2)
    facts = precision_facts(each, ["Ash"] * 9 + ["Birch", "Cedar"])
    whole = facts["average_precision"]
    assert (whole["dogs"], whole["pictures"]) == (3, 11)
    assert whole["mean"] == pytest.approx(82 / 101, abs=1e-4)
    assert (whole["low"], whole["high"]) == (0.0, 1.0)
    assert facts["at_similarity"] == {"0.50": whole["mean"], "0.75": whole["mean"]}
    assert "low" not in precision_facts(each, ["Ash"] * 9 + ["Birch"] * 2)["average_precision"]


def test_thresholds_are_those_of_coco() -> None:
    assert THRESHOLDS == pytest.approx(np.arange(50, 100, 5) / 100)


def test_the_dog_of_the_tests_is_as_long_as_they_say() -> None:
    assert np.linalg.norm(DOG_PX[WITHERS] - DOG_PX[CROUP]) == LENGTH_PX
