"""Clips: films of drawn dogs with their trial sheet and exact truth, from a plan.

Each clip is ``NAME.mp4``, ``NAME.toml`` (trial sheet), ``NAME.landmarks.csv`` (landmark table, true places) and
``NAME.truth.json`` (contacts, gaits, belt speed, topline).
"""

import json
import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pose.film import FilmSettings, write_film
from pose.landmarks import CROUP, PAWS, WITHERS
from pose.table import write_table
from pose.tracks import FloatArray, Tracks
from training.footage.backdrop import make_backdrops
from training.footage.look import Look, draw_look
from training.footage.movement import Movement
from training.footage.plan import ClipPlan
from training.footage.posing import Carriage, poses_over
from training.footage.room import draw_room
from training.footage.scene import HIDDEN_SHARE, Dog, Place, camera_for, instants, span_of
from training.footage.skeleton import Skeleton, build_skeleton
from training.footage.skin import build_skin
from training.footage.staging import build_of, carriage_of, movement_of, times_of, view_of
from training.footage.studio import Actor, Studio

_SHUTTER = 0.25  # share of the frame interval that the shutter is open
_INSTANTS = 3  # pictures laid over one another for motion blur
_SHARP_FPS = 60.0  # from this rate on the blur of a walk or trot is too short to see, and one instant will do
_LOOKS = 81  # instants of a stance at which the posed paw is compared with the plan: steps of 5 ms or less
_OFF_PLACE = 0.01  # withers heights off its planned place, beyond which a paw no longer stands: a third of a pad
_STEPS_A_SECOND = 5  # more strides than any dog walks in a second

Spoil = Callable[[NDArray[np.uint8]], NDArray[np.uint8]]


@dataclass(frozen=True, slots=True)
class Passer:
    """A dog that walks by on the far side of the first one, the way that one faces.

    half_s  s, when it is in the middle of the picture
    away_m  m, how far beyond the middle of the belt
    """

    dog: Dog
    movement: Movement
    carriage: Carriage
    half_s: float
    away_m: float

    def at(self, t: float, shutter_s: float, count: int) -> Actor:
        """The dog at ``t`` s, seen for ``shutter_s``."""
        h = self.dog.skeleton.build.withers_m
        poses, _ = instants(self.dog, self.movement, self.carriage, t, shutter_s, count)
        place = np.array([self.movement.speed * h * (t - self.half_s), 0.0, -self.away_m])
        return Actor(self.dog.figure, self.dog.look, tuple(p.bones for p in poses), h, place)


@dataclass(frozen=True, slots=True)
class Take:
    """Everything that a clip needs before its first frame."""

    plan: ClipPlan
    dog: Dog
    movement: Movement
    carriage: Carriage
    place: Place
    times: FloatArray
    passer: Passer | None = None


def _look_of(plan: ClipPlan, dog_rng: np.random.Generator, skeleton: Skeleton) -> Look:
    drawn = draw_look(dog_rng, skeleton)
    bare: dict[str, Any] = {
        "bands": np.zeros((5, 4)),
        "band_part": np.zeros((5, 3)),
        "boot": 0.0,
        "clipped": np.zeros(4),
    }
    wanted = {k: np.array(v) if isinstance(v, list) else v for k, v in plan.look.items()}
    return replace(drawn, **{**bare, **wanted})


def set_up(plan: ClipPlan, studio: Studio) -> Take:
    """Dog, movement, room and camera of that plan."""
    rng = np.random.default_rng((8102, plan.seed))
    skeleton = build_skeleton(build_of(plan))
    dog = _dog(plan.identity, skeleton, _look_of(plan, _coat_rng(plan), skeleton), studio)
    passer = _passer(plan, plan.passer, studio) if plan.passer is not None else None
    h = skeleton.build.withers_m
    movement = movement_of(plan, skeleton, rng)
    room = draw_room(rng, h, span_of(skeleton) * h, studio.backdrops.layers, belt=True)
    if plan.dark:
        room = replace(room, exposure=room.exposure * 0.28, tone=np.array([1.06, 1.0, 0.86]))
    view = view_of(plan, float(rng.normal(0, 0.7)))
    return Take(plan, dog, movement, carriage_of(plan), Place(room, view, studio.size), times_of(plan), passer)


def _coat_rng(plan: ClipPlan) -> np.random.Generator:
    return np.random.default_rng((8103, plan.identity))


def _dog(identity: int, skeleton: Skeleton, look: Look, studio: Studio) -> Dog:
    skin = build_skin(skeleton)
    return Dog(identity, skeleton, skin, studio.load(skeleton, skin), look, np.arange(0, len(skin.xyz), 40))


def _passer(plan: ClipPlan, identity: int, studio: Studio) -> Passer:
    walk = {"gait": "walk", "strides": int(_STEPS_A_SECOND * plan.seconds) + 4}
    second = replace(plan, identity=identity, kind=None, build={}, look={}, carriage={}, gaits=(walk,))
    skeleton = build_skeleton(build_of(second))
    dog = _dog(identity, skeleton, draw_look(_coat_rng(second), skeleton), studio)
    movement = movement_of(second, skeleton, np.random.default_rng((8106, plan.seed)))
    return Passer(dog, movement, carriage_of(second), plan.seconds / 2, 0.6 + skeleton.build.withers_m)


def _frames(
    take: Take,
    studio: Studio,
    rows: list[tuple[FloatArray, FloatArray, FloatArray]],
    progress: Callable[[int, int], None] | None,
    spoil: Spoil | None,
) -> Iterator[tuple[float, Any]]:
    """The pictures; what is true of each is put into ``rows``: marks (6, 3) m, covered (6,), xy (6, 2) px."""
    h, camera = take.dog.skeleton.build.withers_m, camera_for(take.dog, take.place)
    rng = np.random.default_rng((8104, take.plan.seed))
    count = 1 if take.plan.fps >= _SHARP_FPS else _INSTANTS
    open_s = _SHUTTER / take.plan.fps
    for number, t in enumerate(take.times):
        poses, middle = instants(take.dog, take.movement, take.carriage, float(t), open_s, count)
        actor = Actor(take.dog.figure, take.dog.look, tuple(p.bones for p in poses), h, np.zeros(3))
        scroll = take.movement.speed * h * float(t)
        actors = [actor, take.passer.at(float(t), open_s, count)] if take.passer else [actor]
        rgb, covered = studio.shoot(actors, take.place.room, camera, middle.marks * h, scroll_m=scroll)
        rows.append((middle.marks * h, covered, camera.project(middle.marks * h)))
        noisy = rgb + rng.normal(0, take.plan.noise, rgb.shape)
        picture = np.clip(noisy, 0, 255).astype(np.uint8)
        picture = spoil(picture) if spoil else picture
        yield float(t), picture[:, ::-1] if take.plan.facing == "left" else picture
        if progress:
            progress(number + 1, len(take.times))


def draw_clip(
    plan: ClipPlan,
    folder: Path,
    progress: Callable[[int, int], None] | None = None,
    *,
    spoil: Spoil | None = None,
) -> None:
    """Draw one clip with its sheet and truth into ``folder``; each file appears whole or not at all.

    spoil  makes each picture worse, (H, W, 3) uint8 to the same, to stand for bad filming
    """
    folder.mkdir(parents=True, exist_ok=True)
    studio = Studio(plan.size, make_backdrops(np.random.default_rng((8105, plan.seed)), 6))
    try:
        take = set_up(plan, studio)
        rows: list[tuple[FloatArray, FloatArray, FloatArray]] = []
        settings = FilmSettings(width_px=plan.size[0], quality=25, effort="slow")
        write_film(_frames(take, studio, rows, progress, spoil), folder / f"{plan.name}.mp4", settings=settings)
    finally:
        studio.ctx.release()
    _write_table(take, rows, folder)
    _write_sheet(take, folder)
    _write_text(folder / f"{plan.name}.truth.json", json.dumps(truth_of(take, rows), indent=1) + "\n")


def _write_text(path: Path, words: str) -> None:
    beside = path.with_name(f".{path.name}.partial-{os.getpid()}")
    try:
        beside.write_text(words, encoding="utf-8")
        os.replace(beside, path)
    finally:
        beside.unlink(missing_ok=True)


def _write_table(take: Take, rows: list[Any], folder: Path) -> None:
    xy = np.array([r[2] for r in rows])
    if take.plan.facing == "left":
        xy[..., 0] = take.plan.size[0] - 1 - xy[..., 0]
    count = len(rows)
    hidden = np.array([r[1] for r in rows]) > HIDDEN_SHARE
    tracks = Tracks(np.arange(count), take.times, xy, np.ones((count, 6)), hidden, np.ones((count, 2)))
    write_table(tracks, folder / f"{take.plan.name}.landmarks.csv")


def _write_sheet(take: Take, folder: Path) -> None:
    p, b = take.plan, take.dog.skeleton.build
    speed = take.movement.speed * b.withers_m
    words = {"clip": f"{p.name}.mp4", "dog": p.dog, "date": p.date, "condition": p.condition, "notes": p.notes}
    lines = [f"{k} = {json.dumps(v)}" for k, v in words.items()]
    lines += [
        f"baseline = {str(p.baseline).lower()}",
        f"belt_m_s = {speed:.4f}",
        f"withers_cm = {b.withers_m * 100:.1f}",
    ]
    _write_text(folder / f"{p.name}.toml", "\n".join(lines) + "\n")


def _contacts(take: Take, last_s: float) -> list[dict[str, Any]]:
    """Stances as the film shows them."""
    rows: list[dict[str, Any]] = []
    m = take.movement
    for p, name in enumerate(PAWS):
        for planned in zip(m.touchdown_s[p], m.liftoff_s[p], strict=True):
            if planned[1] > 0 and planned[0] < last_s:
                td, lo = _on_its_place(take, p, *map(float, planned))
                rows.append(
                    {
                        "paw": name,
                        "touchdown_s": round(td, 5),
                        "liftoff_s": round(lo, 5),
                        "whole": bool(td >= 0 and lo <= last_s),
                    }
                )
    return [row for row in rows if row["liftoff_s"] > 0 and row["touchdown_s"] < last_s]


def _on_its_place(take: Take, p: int, touchdown_s: float, liftoff_s: float) -> tuple[float, float]:
    """When paw ``p`` first and last stands where its stance was planned: a leg that is too short for its step comes
    down late and leaves early."""
    times = np.linspace(touchdown_s, liftoff_s, _LOOKS)
    skeleton, skin = take.dog.skeleton, take.dog.skin
    marks = poses_over(skeleton, skin, take.movement, take.carriage, times).marks[:, p]
    wanted = take.movement.paw_over(p, times)[0]
    there = np.flatnonzero(np.hypot(marks[:, 0] - wanted, marks[:, 1] - skeleton.foot[p, 1]) <= _OFF_PLACE)
    return (float(times[there[0]]), float(times[there[-1]])) if len(there) else (touchdown_s, liftoff_s)


def truth_of(take: Take, rows: list[Any]) -> dict[str, Any]:
    """What is true of the clip: contacts (s), strides with their gait, belt speed (m/s), topline (deg) of each frame.

    rows  for each frame marks (6, 3) m, covered (6,), xy (6, 2) px
    """
    m, h, last = take.movement, take.dog.skeleton.build.withers_m, float(take.times[-1])
    back = np.array([r[0][CROUP] - r[0][WITHERS] for r in rows])
    names = [p.gait for p in m.patterns]
    strides = [
        {
            "start_s": round(float(a), 5),
            "end_s": round(float(b), 5),
            "gait": names[i],
            "limb_phase": m.patterns[i].limb_phase,
            "duty_hind": m.patterns[i].duty_hind,
        }
        for i, (a, b) in enumerate(zip(m.stride_s[:-1], m.stride_s[1:], strict=True))
        if b > 0 and a < last
    ]
    return {
        "facing": take.plan.facing,
        "belt_m_s": m.speed * h,
        "withers_m": h,
        "contacts": _contacts(take, last),
        "strides": strides,
        "topline_deg": [round(float(v), 3) for v in np.degrees(np.arctan2(back[:, 1], -back[:, 0]))],
    }
