"""The films that pages show: made once for every content, behind the page that asks, one after the other."""

import json
from collections.abc import Callable
from pathlib import Path
from threading import Lock, Thread
from typing import Any, Final

from sqlalchemy import select

from gait.caseload.listing import ClipLine, clip_of
from gait.caseload.store import Store
from gait.caseload.tables import Place
from gait.command.edge import EXPECTED, message
from gait.desk.kept import FOLDER
from gait.desk.limited import Limits, run_limited
from gait.hashing import content_hash

#: s that the making of one film may take. 15 s of 1080p at 60 frames per second took 21 s on two busy cores (measured),
#: so that a minute of 4K takes about six minutes (derived).
MOST_S: Final = 1800.0
#: How a film is made: (source, target, pictures per second of a folder of pictures).
Make = Callable[[str, str, float | None], Any]

NO_FILM: Final = "This clip came in as a table of landmarks, without a film. The landmarks are shown alone."
GONE: Final = (
    "The film is no longer where it was when it was read, or it has changed since. "
    "Put it back, or add it again; until then the landmarks are shown alone."
)


def make_film(source: str, target: str, fps: float | None) -> Any:
    """Make the film that is shown, in a process with limits, since nobody knows what a file from elsewhere does."""
    told = {"source": source, "target": target, "fps": fps}
    return run_limited("gait.desk.proxy:make_proxy", told, Limits(time_s=MOST_S))


class Films:
    """The films of one caseload. ``film(line)`` tells of a clip's, and has it made when there is none."""

    def __init__(self, store: Store, make: Make = make_film) -> None:
        self._store, self._folder, self._make = store, store.home / FOLDER / "films", make
        self._wanted: set[str] = set()
        self._failed: dict[str, str] = {}
        self._one, self._looking = Lock(), Lock()

    def path(self, sha256: str) -> Path:
        """Where the film of that content lies once it is made."""
        return self._folder / f"{sha256}.mp4"

    def film(self, line: ClipLine, again: bool = False) -> dict[str, Any]:
        """How it stands: {"state": "ready", ...} with what gait.desk.proxy tells of it, "making" with the frames
        done and in all, or "none" with the reason in words.

        again  try once more what could not be made
        """
        facts = self._made(line.sha256)
        if facts is not None:
            return {"state": "ready", **facts}
        if line.kind == "table":
            return {"state": "none", "words": NO_FILM, "again": False}
        with self._looking:
            if again:
                self._failed.pop(line.sha256, None)
            if line.sha256 in self._failed:
                return {"state": "none", "words": self._failed[line.sha256], "again": True}
            if line.sha256 not in self._wanted:
                self._wanted.add(line.sha256)
                Thread(target=self._work, args=(line,), daemon=True).start()
        done, total = self._told(line.sha256)
        return {"state": "making", "done": done, "total": total}

    def _made(self, sha256: str) -> dict[str, Any] | None:
        path = self.path(sha256)
        try:
            facts = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return None
        return facts if isinstance(facts, dict) and path.is_file() else None

    def _told(self, sha256: str) -> tuple[int, int]:
        try:
            done, total = self.path(sha256).with_suffix(".told").read_text().split()
            return int(done), int(total)
        except (OSError, ValueError):
            return 0, 0

    def _work(self, line: ClipLine) -> None:
        with self._one:
            words = self._try(line)
        with self._looking:
            self._wanted.discard(line.sha256)
            if words:
                self._failed[line.sha256] = words

    def _try(self, line: ClipLine) -> str:
        """Make the film of a clip; why not, when it cannot be made."""
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
            source = source_of(self._store, line)
            if source is None:
                return GONE
            self._make(str(source), str(self.path(line.sha256)), line.fps or None)
            if clip_of(self._store, line.clip_id) is None:  # it was removed meanwhile
                for left in self._folder.glob(f"{line.sha256}.*"):
                    left.unlink(missing_ok=True)
        except EXPECTED as error:
            return f"The film cannot be shown: {message(error)}"
        finally:
            self._sweep(line.sha256)
        return ""

    def _sweep(self, sha256: str) -> None:
        """Take away what a process that was ended left half done."""
        for left in (*self._folder.glob(f".{sha256}.*"), self.path(sha256).with_suffix(".told")):
            left.unlink(missing_ok=True)


def source_of(store: Store, line: ClipLine) -> Path | None:
    """A place where the clip lies as it was read; None = there is none any more."""
    found = select(Place.path).where(Place.clip_id == line.clip_id).order_by(Place.id)
    with store.reading() as connection:
        places = [Path(path) for path in connection.scalars(found)]
    return next((path for path in places if path.exists() and content_hash(path) == line.sha256), None)
