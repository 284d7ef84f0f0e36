"""What every page of a desk works on."""

from dataclasses import dataclass, field
from pathlib import Path
from threading import Lock
from typing import Any

from starlette.requests import Request

from gait.caseload.keys import Wanted
from gait.caseload.store import Store
from gait.desk.audit import write_audit
from gait.desk.kept import FOLDER, Kept, changed, read_kept, write_kept
from gait.desk.night import Night


@dataclass(slots=True)
class Desk:
    """One desk over one caseload.

    wanted  how clips are to be read
    night   the reading that goes on behind the pages
    kept    what the desk remembers for itself
    ended   sessions that signed out since the desk was started
    """

    store: Store
    wanted: Wanted
    night: Night
    kept: Kept
    ended: set[str] = field(default_factory=set, repr=False)
    _lock: Lock = field(default_factory=Lock, repr=False)

    @property
    def home(self) -> Path:
        """The folder of the caseload."""
        return self.store.home

    @property
    def folder(self) -> Path:
        """The desk's own folder in it."""
        return self.home / FOLDER

    @property
    def footage(self) -> Path:
        """Where films lie that came in through the desk."""
        return self.home / "footage"

    def keep(self, **said: Any) -> None:
        """Remember what a person said. Raises DeskError when that cannot be."""
        with self._lock:
            self.kept = write_kept(self.home, changed(self.kept, **said))

    def audit(self, what: str, **facts: Any) -> None:
        """Note a deletion or an overruling."""
        write_audit(self.home, what, self.kept.by, **facts)


def open_desk(store: Store, wanted: Wanted, workers: int) -> Desk:
    """The desk over ``store``; nothing is read before ``desk.night.start()``."""
    return Desk(store, wanted, Night(store, wanted, workers), read_kept(store.home))


def desk_of(request: Request) -> Desk:
    """The desk that a page was asked of."""
    desk = request.app.state.desk
    assert isinstance(desk, Desk)
    return desk
