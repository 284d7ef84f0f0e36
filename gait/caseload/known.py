"""What the store knows of files before they are looked at: most of a folder has not changed since it was added last."""

import os
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from sqlalchemy import select

from gait.caseload.scanning import Found, Stamp
from gait.caseload.store import Store
from gait.caseload.tables import Clip, Dog, Place, TrialRow, Visit, folded
from gait.caseload.trials import SAME, trial_of
from gait.trial import Trial


@dataclass(frozen=True, slots=True)
class Known:
    """A file that was taken in: its content, its stamp then, and what the store says of its clip.

    places  where the clip lies, this one among them, in the order in which it was found there
    """

    clip_id: int
    sha256: str
    stamp: Stamp
    places: tuple[str, ...]
    trial: Trial
    fps: float | None

    def holds(self, found: Found, stamp: Stamp) -> bool:
        """Whether nothing has changed: the file, its copies, and what a sheet says."""
        said = found.trial is None or (_plain(found.trial), found.fps) == (_plain(self.trial), self.fps)
        return said and stamp == self.stamp and all(map(os.path.lexists, self.places))

    def copy_of(self, source: Path) -> Path | None:
        """The place where the same content lay first, unless that is ``source``."""
        return None if self.places[0] == str(source) else Path(self.places[0])


def known_files(store: Store) -> Mapping[str, Known]:
    """Path -> what is known of it."""
    columns = [getattr(TrialRow, name) for name in (*SAME, "fps")]
    found = select(Place.path, Place.bytes, Place.changed_ns, Clip.id, Clip.sha256, Dog.name, Visit.date, *columns)
    found = found.join(Clip, Clip.id == Place.clip_id).join(TrialRow, TrialRow.clip_id == Clip.id)
    with store.reading() as connection:
        rows = connection.execute(found.outerjoin(Visit).outerjoin(Dog).order_by(Place.id)).all()
    places: dict[int, list[str]] = {}
    for row in rows:
        places.setdefault(row.id, []).append(row.path)
    return {row.path: _known(row, tuple(places[row.id])) for row in rows}


def _known(row: Any, places: tuple[str, ...]) -> Known:
    trial = trial_of(row, clip="", dog=row.name, date=row.date)
    return Known(row.id, row.sha256, Stamp(row.bytes, row.changed_ns), places, trial, row.fps)


def _plain(trial: Trial) -> Trial:
    """What is said, whatever the clip is called and however its dog is spelt."""
    return replace(trial, clip="", dog=folded(trial.dog))


def same_said(one: Found, other: Found) -> bool:
    """Whether two sheets say the same."""
    if one.trial is None or other.trial is None:
        return one.trial is other.trial
    return (_plain(one.trial), one.fps) == (_plain(other.trial), other.fps)
