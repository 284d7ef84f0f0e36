"""A clinic's footage of the anatomical dog: clips to choose frames from, and others to measure on.

``python tests/outside/anatomical_dog_clinic.py FOLDER`` writes FOLDER/pool and FOLDER/held_out, clips with their exact
truth, for ``python -m training.learning``. One dog in one room; gait, direction, camera and light change.
"""

import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from anatomical_dog_film import SHOTS, Shot, make_clip

#: Turn of the camera (deg), height of its eye (m), distance (m), light: of the first clip of each gait, the second, ...
#: Our own choices.
PLACES = (
    (3.0, 0.55, 3.1, 1.0),
    (-6.0, 0.8, 3.5, 1.0),
    (8.0, 0.45, 3.1, 0.45),
    (-9.0, 0.75, 2.9, 0.7),
    (5.0, 0.6, 3.3, 0.35),
)
OTHER_PLACES = ((-4.0, 0.65, 3.2, 0.9), (6.0, 0.7, 3.1, 0.45))
#: Frames per second: half of them teach as much as all.
FPS = 30.0


def pool() -> Iterator[Shot]:
    """Clips whose frames may be marked, 7 s each."""
    yield from _shots("", PLACES, 31, 7.0)


def held_out() -> Iterator[Shot]:
    """Clips that are read with every network; no frame of them is ever marked."""
    yield from _shots("other-", OTHER_PLACES, 61, 3.5)


def _shots(
    prefix: str, places: tuple[tuple[float, float, float, float], ...], seed: int, seconds: float
) -> Iterator[Shot]:
    for gait, shot in enumerate(SHOTS):
        for number, (turn, eye, distance, light) in enumerate(places):
            yield replace(
                shot,
                name=f"{prefix}{shot.name}-{number + 1}",
                seed=seed + 10 * gait + number,
                facing=("left", "right")[(gait + number) % 2],
                seconds=seconds,
                fps=FPS,
                turn_deg=turn,
                eye_m=eye,
                distance_m=distance,
                light=light,
            )


def main() -> None:
    """Draw every clip that is not there yet."""
    for part, shots in (("pool", pool()), ("held_out", held_out())):
        folder = Path(sys.argv[1]) / part
        folder.mkdir(parents=True, exist_ok=True)
        for shot in shots:
            if not (folder / f"{shot.name}.truth.json").exists():
                make_clip(shot, folder)


if __name__ == "__main__":
    main()
