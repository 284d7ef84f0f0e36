"""A caseload with planted cases: hundreds of clips of dozens of dogs, among them files that no program can read.

``python -m training.footage.caseload OUT`` leaves ``clips/``, ``sheet.csv`` and ``planted.json``, which says what was
planted. As landmark tables it takes a minute or two, as films (``--as films``) hours on a laptop.
"""

import argparse
import csv
import json
import sys
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from pose.landmarks import FAR_FORE, FAR_HIND
from pose.table import write_table
from pose.tracks import Tracks
from training.footage.clips import draw_clip
from training.footage.planted import PlantedClip, PlantedDog, planted_dogs
from training.footage.undrawn import landmarks_of

#: Files that cannot be read, copies, and clips that are badly filmed: one in so many of all files.
BROKEN_IN, COPY_IN, BAD_IN = 30, 60, 75
COLUMNS: Final = ("clip", "dog", "date", "condition", "baseline", "belt_m_s", "facing", "withers_cm")

Progress = Callable[[int, int], None]


def write_caseload(
    out: Path, *, dogs: int = 60, files: int = 300, films: bool = False, progress: Progress | None = None
) -> dict[str, Any]:
    """Write ``files`` files of ``dogs`` dogs into ``out`` and say what was planted, as planted.json does."""
    broken, copies, bad = files // BROKEN_IN, files // COPY_IN, files // BAD_IN
    planted = planted_dogs(dogs, files - broken - copies, bad, film=films)
    folder = out / "clips"
    (folder / "later").mkdir(parents=True, exist_ok=True)
    clips = [clip for dog in planted for clip in dog.clips]
    made = []
    for number, clip in enumerate(clips, 1):
        made.append((_film if films else _table)(clip, folder))
        if progress:
            progress(number, len(clips))
    every = max(1, len(made) // max(1, broken))
    spoilt = [_break(n, made[n * every], folder, films) for n in range(broken)]
    twins = _copy(made, copies, folder / "later")
    # a file that cannot be read was filmed too: it belongs to the visit of the clip that it was made from
    rows = [*zip(made, clips, strict=True), *zip(spoilt, clips[::every], strict=False)]
    _write_sheet(out / "sheet.csv", rows)
    truth = _truth(planted, dict(zip(map(id, clips), made, strict=True)), spoilt, twins)
    (out / "planted.json").write_text(json.dumps(truth, indent=1) + "\n", encoding="utf-8")
    return truth


def _truth(
    planted: Iterable[PlantedDog], made: dict[int, Path], broken: list[Path], copies: dict[Path, Path]
) -> dict[str, Any]:
    told = [
        {
            "dog": dog.name,
            "part": dog.part,
            "change": dog.change,
            "measure": dog.measure,
            "clips": [made[id(clip)].name for clip in dog.clips],
        }
        for dog in planted
    ]
    bad = {made[id(clip)].name: clip.bad for dog in planted for clip in dog.clips if clip.bad}
    return {
        "files": len(made) + len(broken) + len(copies),
        "dogs": told,
        "broken": [path.name for path in broken],
        "badly_filmed": bad,
        "copies": {copy.name: first.name for copy, first in copies.items()},
    }


def _table(clip: PlantedClip, folder: Path) -> Path:
    path = folder / f"{clip.plan.name}.csv"
    write_table(_badly_seen(landmarks_of(clip.plan, roll_deg=clip.roll_deg), clip), path)
    return path


def _badly_seen(tracks: Tracks, clip: PlantedClip) -> Tracks:
    """What a network finds of a dog that is too dark to see, or of paws behind a board."""
    rng, score, xy = np.random.default_rng((8107, clip.plan.seed)), tracks.score.copy(), tracks.xy_px.copy()
    gone = {"much too dark": range(6), "a board before the paws": (FAR_FORE, FAR_HIND)}.get(clip.bad, ())
    for landmark in gone:
        missed = rng.random(len(tracks)) < 0.75
        score[missed, landmark], xy[missed, landmark] = rng.uniform(0, 0.1, missed.sum()), np.nan
    return Tracks(tracks.frame, tracks.t_s, xy, score, tracks.hidden | np.isnan(xy[..., 0]), tracks.side_score)


def _film(clip: PlantedClip, folder: Path) -> Path:
    spoil = {"much too dark": _dark, "a board before the paws": _boarded}.get(clip.bad)
    path = folder / f"{clip.plan.name}.mp4"
    draw_clip(clip.plan, folder, spoil=spoil)
    for beside in (path.with_suffix(end) for end in (".toml", ".landmarks.csv", ".truth.json")):
        beside.unlink()  # the sheet says it for all, and a clinic has no truth
    return path


def _dark(picture: NDArray[np.uint8]) -> NDArray[np.uint8]:
    return np.asarray(picture // 48, dtype=np.uint8)


def _boarded(picture: NDArray[np.uint8]) -> NDArray[np.uint8]:
    covered = picture.copy()
    covered[round(0.55 * len(picture)) :] = 90
    return covered


def _break(number: int, whole: Path, folder: Path, films: bool) -> Path:
    """A file that cannot be read, made from ``whole`` in one of five ways."""
    content, name = whole.read_bytes(), f"{whole.stem}-broken-{number + 1}"
    noise = np.random.default_rng((8108, number)).bytes(4000)
    words = f"this is no film, number {number}\n".encode()
    cut = content[: len(content) // 3] if films else bytes(1000 + number)
    ways = ((".mp4", noise), (".mp4", words), (".mp4", cut))
    head, _, body = content.partition(b"\n")
    misnamed = body.replace(b",near_fore,", b",third_fore,")
    tables = ((".csv", head + b"\n" + misnamed), (".csv", head + b"\n" + words * 9))
    ending, broken = (*ways, *(ways[:2] if films else tables))[number % 5]
    path = folder / f"{name}{ending}"
    path.write_bytes(broken + (bytes([number]) if films else b""))
    return path


def _copy(made: list[Path], count: int, folder: Path) -> dict[Path, Path]:
    """Copies of ``count`` clips under other names."""
    chosen = made[:: max(1, len(made) // count)][:count] if count else []
    copies = {folder / f"copy-{n}{path.suffix}": path for n, path in enumerate(chosen, 1)}
    for copy, first in copies.items():
        copy.write_bytes(first.read_bytes())
    return copies


def _write_sheet(path: Path, rows: Iterable[tuple[Path, PlantedClip]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(COLUMNS)
        for source, clip in rows:
            p = clip.plan
            told = (p.dog, p.date, p.condition, "yes" if p.baseline else "no", f"{clip.belt_m_s:.2f}", p.facing)
            writer.writerow((source.relative_to(path.parent).as_posix(), *told, f"{clip.withers_cm:.1f}"))


def main() -> None:
    """Write the caseload that the command line asks for."""
    parser = argparse.ArgumentParser(prog="python -m training.footage.caseload", description=write_caseload.__doc__)
    parser.add_argument("out", type=Path)
    parser.add_argument("--dogs", type=int, default=60)
    parser.add_argument("--clips", type=int, default=300, help="files in all, broken ones and copies among them")
    parser.add_argument("--as", dest="form", choices=("tables", "films"), default="tables")
    asked = parser.parse_args()

    def tell(done: int, total: int) -> None:
        """Say how far it is."""
        sys.stderr.write(f"\r{done} of {total}")

    write_caseload(asked.out, dogs=asked.dogs, files=asked.clips, films=asked.form == "films", progress=tell)
    sys.stderr.write("\n")


if __name__ == "__main__":
    main()
