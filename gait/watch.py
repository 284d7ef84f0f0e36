"""A camera watched: every picture recorded, the newest ones read, at once."""

import json
import threading
import time
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from gait.live import LiveReading
from gait.trial import Trial
from pose.camera import Camera
from pose.recorder import Recorder


@dataclass(frozen=True, slots=True)
class Recorded:
    """What is left of watching. path: the clip, None = nothing was recorded; pictures: how many it holds;
    lost: how many could not be written; failed: why, in one sentence, or ""."""

    path: Path | None = None
    pictures: int = 0
    lost: int = 0
    failed: str = ""


class Watch:
    """Hands every picture of ``camera`` to ``recorder`` (None = not recorded) and to ``reading``, on a thread."""

    def __init__(self, camera: Camera, reading: LiveReading, recorder: Recorder | None) -> None:
        self.camera, self.reading, self.recorder = camera, reading, recorder
        self.pictures, self.began_s = 0, time.monotonic()
        self._left: Recorded | None = None
        self._ending = threading.Lock()
        self._thread = threading.Thread(target=self._work, name="pawfall camera", daemon=True)
        self._thread.start()

    @property
    def running(self) -> bool:
        """Whether pictures still come."""
        return self._thread.is_alive()

    def wait(self, timeout_s: float) -> None:
        """Wait until no more pictures come, or so long."""
        self._thread.join(timeout_s)

    def end(self) -> Recorded:
        """No more pictures; read and write what is waiting, and say what was recorded. May be called again."""
        self.camera.stop()
        with self._ending:
            self._thread.join()
            if self._left is None:
                self.reading.finish()
                self._left = self._recorded()
            return self._left

    def _work(self) -> None:
        try:
            for shot in self.camera.shots():
                self.pictures += 1
                if self.recorder is not None:
                    self.recorder.add(shot.t_s, shot.rgb)
                self.reading.offer(shot)
        except Exception as error:  # a broken film or driver ends the pictures, never the recording of those that came
            self.camera.ending = f"{self.camera.name} has stopped giving pictures ({type(error).__name__}: {error})."

    def _recorded(self) -> Recorded:
        if self.recorder is None:
            return Recorded()
        recorder, pictures = self.recorder, self.recorder.close()
        if not pictures:
            for path in (recorder.path, recorder.path.with_suffix(".toml")):
                path.unlink(missing_ok=True)
        return Recorded(recorder.path if pictures else None, pictures, recorder.lost, recorder.failed)


def start_recording(folder: Path, trial: Trial, camera: str) -> Recorder:
    """A new film in ``folder``, named after this moment, with its trial sheet beside it from the start.

    camera: its name, for the notes. Raises OSError when the folder cannot be written.
    """
    folder.mkdir(parents=True, exist_ok=True)
    now = datetime.now()
    path, number = folder / f"{now:%Y-%m-%d-%H%M%S}.mp4", 1
    while path.exists():
        number += 1
        path = folder / f"{now:%Y-%m-%d-%H%M%S}-{number}.mp4"
    recorder = Recorder(path)
    sheet = sheet_of(trial, path.name, f"{now:%Y-%m-%d}", camera)
    path.with_suffix(".toml").write_text(sheet, encoding="utf-8")
    return recorder


def sheet_of(trial: Trial, clip: str, date: str, camera: str) -> str:
    """The trial sheet of a recorded clip as TOML: what was told, and the day."""
    notes = f"recorded live from {camera}"
    told: dict[str, object] = {
        "clip": clip,
        "dog": trial.dog,
        "date": trial.date or date,
        "condition": trial.condition,
        "baseline": trial.baseline,
        "belt_m_s": trial.belt_m_s,
        "facing": trial.facing,
        "notes": f"{trial.notes}; {notes}" if trial.notes else notes,
    }
    return "".join(f"{key} = {json.dumps(value)}\n" for key, value in told.items() if value not in (None, ""))
