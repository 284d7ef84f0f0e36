"""The learning curve: what marked frames of one dog are worth, chosen by ``pawfall pick`` or at random.

A dog whose landmarks are exactly known stands in for a clinic's footage: its frames are "marked" with the truth. CLIPS
and HELD_OUT are folders of films with ``NAME.landmarks.csv`` beside them, RESULTS those of ``pawfall read CLIPS/*.mp4``
with the network that is to be taught.

    python -m training.learning choose OUT RESULTS CLIPS    # which frames, with either way and every seed
    python -m training.learning teach OUT                   # a network from each lot of them; goes on where it stopped
    python -m training.learning measure OUT HELD_OUT        # what each finds in clips of which no frame was taken
"""

import argparse
import csv
import sys
import tomllib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

import numpy as np

from pose.clip import open_clip
from pose.coco import VISIBLE, Marks, write_marks
from pose.landmarks import CROUP, LANDMARKS, PAIRS, WITHERS
from pose.network import Network, NetworkSettings, shipped_network
from pose.read import read_clip
from pose.table import read_table
from pose.tracks import FloatArray, Tracks
from training.marks.gathering import PickSettings, pick_frames
from training.marks.picked import PickedFrame, add_picked, read_picked
from training.marks.results import find_results, read_result

COUNTS: Final = (10, 25, 50, 100, 200)
SEEDS: Final = (1, 2, 3)
WAYS: Final = ("picked", "random")
COLUMNS: Final = ("way", "frames", "seed", "error_percent", "within_5_percent", "exchanged_percent")
#: Body lengths that a landmark counts for at most, and apart from which two paws of a pair can be told to be exchanged.
MOST_OFF, APART = 1.0, 0.1


@dataclass(frozen=True, slots=True)
class Lot:
    """Frames chosen in one ``way`` with one ``seed``: the first ``count`` of them, in the order of choice."""

    way: str
    seed: int
    count: int

    @property
    def name(self) -> str:
        """Of its marks, its run and its network."""
        return f"{self.way}-{self.seed}-{self.count}"

    @property
    def folder(self) -> str:
        """Where its pictures lie, with those of the smaller and larger lots of the same choice."""
        return f"{self.way}-{self.seed}"


def all_lots(counts: Iterable[int] = COUNTS, seeds: Iterable[int] = SEEDS) -> list[Lot]:
    """Every lot, the small ones first."""
    return [Lot(way, seed, count) for count in counts for seed in seeds for way in WAYS]


def choose(out: Path, results: Path, clips: Path, seeds: Iterable[int] = SEEDS) -> None:
    """Put the pictures and marks of every lot into ``out``. Larger lots hold the smaller ones: a person who marks on
    keeps what is marked already. Where ``pick`` finds no more frames in doubt, the lot is as large as it gets."""
    network = Network.load(shipped_network())
    for seed in seeds:
        folder = out / f"picked-{seed}"
        for count in steps(COUNTS):
            pick_frames(
                [results],
                folder,
                lambda _folder, name, _sha256: clips / name,
                network,
                lambda *_: None,
                PickSettings(count=count, seed=seed),
            )
        add_picked(out / f"random-{seed}", random_frames(results, clips, max(COUNTS), seed))
    for lot in all_lots(seeds=seeds):
        picked = read_picked(out / lot.folder)
        assert picked is not None
        write_marks(true_marks(picked, lot.count, clips), out / lot.folder / f"{lot.name}.json")


def steps(counts: Iterable[int]) -> list[int]:
    """How many more are chosen each time: 10, 25, 50 -> 10, 15, 25."""
    return [int(more) for more in np.diff([0, *counts])]


def random_frames(results: Path, clips: Path, count: int, seed: int) -> Iterator[PickedFrame]:
    """``count`` frames of all clips that were read, every frame as likely as any other."""
    sources = [clips / read_result(folder).source for folder in find_results([results])]
    opened = [open_clip(path) for path in sources]
    places = [(which, at) for which, clip in enumerate(opened) for at in range(len(clip.stamps_s))]
    order = np.random.default_rng(seed).permutation(len(places))[:count]
    for which, at in (places[row] for row in order):
        clip = opened[which]
        frame = next(iter(clip.at_times(clip.stamps_s[at : at + 1])))
        nothing = np.full(len(LANDMARKS), np.nan)
        notes = {"clip": sources[which].stem, "source": sources[which].name, "frame": frame.index}
        yield PickedFrame(
            f"{sources[which].stem}-{frame.index:06}",
            frame.rgb,
            notes,
            xy_px=np.full((len(LANDMARKS), 2), np.nan),
            hidden=np.zeros(len(LANDMARKS), bool),
            score=nothing,
            facing=None,
        )


def true_marks(picked: Marks, count: int, clips: Path) -> Marks:
    """The first ``count`` pictures of ``picked`` with the true landmarks of their frames."""
    rows = np.arange(min(count, len(picked.files)))
    notes = [picked.image_notes[row] for row in rows]
    xy = np.stack([truth_of(clips / f"{note['clip']}.mp4").xy_px[note["frame"]] for note in notes])
    seen = np.full(xy.shape[:2], VISIBLE)
    files = picked.files[: len(rows)]
    return Marks(files, picked.image_id[rows], picked.size_px[rows], rows + 1, rows, xy, seen, tuple(notes))


def truth_of(film: Path) -> Tracks:
    """The true landmarks of a film, a row for each frame."""
    return read_table(film.with_name(f"{film.stem}.landmarks.csv"))


def teach(out: Path, settings: Path | None = None) -> None:
    """Train a network from every lot in ``out`` that has none yet; all steps are done: no second dog tells when to
    stop."""
    from training.fit import fit
    from training.settings import read_settings

    used = read_settings(settings or Path(__file__).parent / "marks.toml")
    for lot in all_lots():
        run = out / "runs" / lot.name
        if not (run / "weights.pt").exists():
            marks = str(out / lot.folder / f"{lot.name}.json")
            fit(replace(used, name=lot.name, marks=(marks,), seed=lot.seed), run, resume=True)
            sys.stdout.write(f"{lot.name}\n")


def measure(out: Path, held_out: Path) -> list[dict[str, Any]]:
    """A row for the network that was taught and for every run in ``out``; they are kept in OUT/learning.csv."""
    known = _known_rows(out / "learning.csv")
    networks = [("none", 0, 0, shipped_network())]
    networks += [(lot.way, lot.count, lot.seed, out / "runs" / lot.name / f"{lot.name}.onnx") for lot in all_lots()]
    done = {(row["way"], int(row["frames"]), int(row["seed"])) for row in known}
    for way, count, seed, path in networks:
        if path.exists() and (way, count, seed) not in done:
            network = Network.load(path, NetworkSettings(precision="fp32"))
            known.append({"way": way, "frames": count, "seed": seed, **errors_of(network, held_out)})
            _write_rows(known, out / "learning.csv")
    return known


def errors_of(network: Network, held_out: Path) -> dict[str, float]:
    """Mean error in % of body length, share within 5 %, share of frames with a pair exchanged (%), over all films."""
    pairs = [found_and_true(network, film) for film in sorted(held_out.glob("*.mp4"))]
    off = np.concatenate([errors(found, true) for found, true in pairs])
    swapped = np.concatenate([exchanged(found, true) for found, true in pairs])
    return {
        "error_percent": round(100 * float(np.minimum(off, MOST_OFF).mean()), 3),
        "within_5_percent": round(float((off <= 0.05).mean()), 4),
        "exchanged_percent": round(100 * float(np.nanmean(swapped)), 2),
    }


def found_and_true(network: Network, film: Path) -> tuple[FloatArray, FloatArray]:
    """(T, 6, 2) px each."""
    tracks, _ = read_clip(open_clip(film), network)
    return tracks.xy_px, truth_of(film).xy_px[tracks.frame]


def errors(found: FloatArray, true: FloatArray) -> FloatArray:
    """(T, 6) body lengths from found to true (T, 6, 2) px; infinite where nothing was found."""
    length = np.median(np.hypot(*(true[:, WITHERS] - true[:, CROUP]).T))
    return np.asarray(np.nan_to_num(np.hypot(*np.moveaxis(found - true, -1, 0)) / length, nan=np.inf))


def exchanged(found: FloatArray, true: FloatArray) -> FloatArray:
    """(T, 2) 1 where the fore or the hind pair (T, 6, 2) px is nearer to the truth the other way round; NaN where its
    paws are too near each other to say."""
    out = []
    length = np.median(np.hypot(*(true[:, WITHERS] - true[:, CROUP]).T))
    for near, far in PAIRS:
        straight, crossed = (
            np.hypot(*(found[:, near] - true[:, one]).T) + np.hypot(*(found[:, far] - true[:, other]).T)
            for one, other in ((near, far), (far, near))
        )
        apart = np.hypot(*(true[:, near] - true[:, far]).T) > APART * length
        out.append(np.where(apart, crossed < straight, np.nan))
    return np.stack(out, axis=1)


def curve(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """One entry for each way and number of frames, small ones first: mean error in % of body length over the seeds, the
    smallest and the largest, and the mean share of landmarks that are off by more than 5 %."""
    lots = sorted({(int(row["frames"]), str(row["way"])) for row in rows})
    return [_entry([row for row in rows if (int(row["frames"]), row["way"]) == lot], *lot) for lot in lots]


def _entry(rows: list[dict[str, Any]], count: int, way: str) -> dict[str, Any]:
    error = [float(row["error_percent"]) for row in rows]
    beyond = [100 * (1 - float(row["within_5_percent"])) for row in rows]
    return {
        "frames": count,
        "way": way,
        "error_percent": round(float(np.mean(error)), 2),
        "from_to": [round(min(error), 2), round(max(error), 2)],
        "beyond_5_percent": round(float(np.mean(beyond)), 2),
    }


def line(entry: dict[str, Any]) -> str:
    """An entry of the curve in words."""
    low, high = entry["from_to"]
    return (
        f"{entry['frames']:4d} frames, {entry['way']:6}: {entry['error_percent']:.2f} % of body length "
        f"({low:.2f} to {high:.2f}), {entry['beyond_5_percent']:.2f} % of landmarks beyond 5 %"
    )


def note_on_card(rows: list[dict[str, Any]], card: Path) -> None:
    """Put the curve on the card of the network that was taught."""
    from training.export import to_toml

    names = ("frames", "error_percent", "from_to", "beyond_5_percent")
    entries = curve(rows)
    told = {way: [e for e in entries if e["way"] == way] for way in ("none", *WAYS)}
    table = {way: {name: [e[name] for e in own] for name in names} for way, own in told.items() if own}
    words = tomllib.loads(card.read_text(encoding="utf-8"))
    card.write_text(to_toml(words | {"learning": table}), encoding="utf-8")


def _known_rows(path: Path) -> list[dict[str, Any]]:
    if not path.exists():
        return []
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def _write_rows(rows: list[dict[str, Any]], path: Path) -> None:
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, COLUMNS, lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def main() -> None:
    """The three steps."""
    parser = argparse.ArgumentParser(prog="training.learning", description=__doc__)
    parser.add_argument("step", choices=["choose", "teach", "measure"])
    parser.add_argument("out", type=Path)
    parser.add_argument("folders", type=Path, nargs="*")
    parser.add_argument("--card", type=Path, help="card of the network, for measure: the curve is put on it")
    given = parser.parse_args()
    if given.step == "choose":
        choose(given.out, *given.folders)
    elif given.step == "teach":
        teach(given.out, *given.folders)
    else:
        rows = measure(given.out, *given.folders)
        sys.stdout.writelines(f"{line(entry)}\n" for entry in curve(rows))
        if given.card:
            note_on_card(rows, given.card)


if __name__ == "__main__":
    main()
