"""What a sheet says of a clip, between Trial and its row in the store."""

from typing import Any, Final

from sqlalchemy import select
from sqlalchemy.orm import Session

from gait.caseload.tables import Dog, TrialRow, Visit, folded
from gait.trial import Trial

#: Fields of Trial that a row carries under the same name.
SAME: Final = (
    "condition", "baseline", "belt_m_s", "filmed_fps", "facing", "incline_deg", "lead_tension_n", "withers_cm",
    "mass_kg", "notes",
)  # fmt: skip


def trial_of(row: Any, *, clip: str, dog: str | None, date: str | None) -> Trial:
    """The trial in ``row`` (a TrialRow, or a row of a query with its columns)."""
    said = {name: getattr(row, name) for name in SAME}
    return Trial(clip=clip, dog=dog or "", date=date or "", **said)


def put_trial(session: Session, row: TrialRow, trial: Trial, fps: float | None, sheet: str) -> bool:
    """Write ``trial`` into ``row``, with its dog and visit; says whether that changed anything."""
    visit = visit_of(session, trial.dog, trial.date)
    said = {name: getattr(trial, name) for name in SAME} | {"fps": fps, "visit_id": visit, "sheet": sheet}
    changed = any(getattr(row, name) != value for name, value in said.items() if name != "sheet")
    for name, value in said.items():
        setattr(row, name, value)
    return changed


def visit_of(session: Session, dog: str, date: str) -> int | None:
    """The visit of that dog on that day, made when it is new; None when either is not said."""
    if not dog or not date:
        return None
    dog_id = session.scalar(select(Dog.id).where(Dog.folded == folded(dog))) or _added(session, Dog(name=dog))
    here = select(Visit.id).where(Visit.dog_id == dog_id, Visit.date == date)
    return session.scalar(here) or _added(session, Visit(dog_id=dog_id, date=date))


def _added(session: Session, row: Dog | Visit) -> int:
    session.add(row)
    session.flush()
    return row.id
