"""Writes every picture of a camera to a film, on a thread of its own, so that whoever brings them is never held up."""

import threading
from collections import deque
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from pose.errors import PoseError
from pose.film import GrowingFilm

Picture = NDArray[np.uint8]

#: Bytes of pictures that may wait for the disk: three seconds of 1080p at 30 frames per second. Our own choice.
MOST_WAITING: Final = 600_000_000


class Recorder:
    """A film at ``path`` that grows. ``failed`` says in one sentence why it grows no more, "" = it does."""

    def __init__(self, path: Path) -> None:
        """Raises OSError when the file cannot be made."""
        self.path, self.failed = path, ""
        self.lost = 0
        self._film = GrowingFilm(path)
        self._waiting: deque[tuple[float, Picture]] = deque()
        self._bytes = 0
        self._closing = False
        self._change = threading.Condition()
        self._thread = threading.Thread(target=self._work, name="pawfall recorder", daemon=True)
        self._thread.start()

    @property
    def written(self) -> int:
        """Pictures that were handed to the film."""
        return self._film.count

    def add(self, t_s: float, rgb: Picture) -> None:
        """Bring a picture (H, W, 3) that nobody else will change; counted as ``lost`` when it cannot be taken."""
        with self._change:
            if self.failed or self._closing or self._bytes + rgb.nbytes > MOST_WAITING:
                self.lost += 1
                return
            self._waiting.append((t_s, rgb))
            self._bytes += rgb.nbytes
            self._change.notify_all()

    def close(self) -> int:
        """Write all that is waiting, end the film, and say how many pictures it holds."""
        with self._change:
            self._closing = True
            self._change.notify_all()
        self._thread.join()
        return self.written

    def _work(self) -> None:
        try:
            while (item := self._next()) is not None:
                self._film.add(*item)
        except (OSError, PoseError) as error:
            self._fail(error)
        try:
            self._film.close()
        except OSError as error:
            self._fail(error)

    def _next(self) -> tuple[float, Picture] | None:
        """The next picture, waited for; None = the end."""
        with self._change:
            self._change.wait_for(lambda: bool(self._waiting) or self._closing)
            if not self._waiting:
                return None
            t_s, rgb = self._waiting.popleft()
            self._bytes -= rgb.nbytes
            return t_s, rgb

    def _fail(self, error: Exception) -> None:
        """What is waiting is lost with what is still to come."""
        why = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        with self._change:
            self.failed = self.failed or f"The recording {self.path.name} ends here: {why.rstrip('.')}."
            self.lost += len(self._waiting)
            self._waiting.clear()
            self._bytes = 0
