"""What a caseload keeps: dogs, visits, trials, clips, the queue of reading, records and what was found in them.

Times are seconds since 1970 (UTC) on the clock of the store (gait.caseload.clock); days are ISO dates. Missing is NULL.
"""

from typing import Any, ClassVar

from sqlalchemy import JSON, BigInteger, Double, ForeignKey, Index, MetaData, String, UniqueConstraint
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column, relationship

#: Every constraint has a name, so that a later migration can change it.
NAMES = {
    "ix": "ix_%(column_0_N_label)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}


class Base(DeclarativeBase):
    """Base of every table."""

    metadata = MetaData(naming_convention=NAMES)
    type_annotation_map: ClassVar[dict[Any, Any]] = {float: Double, dict[str, Any]: JSON, list[Any]: JSON}


def folded(name: str) -> str:
    """A name without capitals and spaces: two spellings that differ in these alone are one dog."""
    return "".join(name.casefold().split())


def _folded_name(context: Any) -> str:
    return folded(context.get_current_parameters()["name"])


class Dog(Base):
    """A dog, known by its name; it is called as it was written first."""

    __tablename__ = "dog"

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(unique=True)
    folded: Mapped[str] = mapped_column(unique=True, default=_folded_name)


class Visit(Base):
    """A day on which a dog was filmed. date: YYYY-MM-DD."""

    __tablename__ = "visit"
    __table_args__ = (UniqueConstraint("dog_id", "date"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    dog_id: Mapped[int] = mapped_column(ForeignKey("dog.id", ondelete="CASCADE"))
    date: Mapped[str] = mapped_column(String(10))
    dog: Mapped[Dog] = relationship()


class Clip(Base):
    """A content: however often it was copied and whatever its files are called.

    name    of the file that came first
    kind    "film", "pictures" or "table"
    bytes   of all its files together
    wanted  key of the record that was wanted last; a record with another one is stale. "" = new, or a sheet says
            something else since
    """

    __tablename__ = "clip"

    id: Mapped[int] = mapped_column(primary_key=True)
    sha256: Mapped[str] = mapped_column(String(64), unique=True)
    name: Mapped[str]
    kind: Mapped[str] = mapped_column(String(8))
    bytes: Mapped[int] = mapped_column(BigInteger)
    added_at: Mapped[float]
    wanted: Mapped[str] = mapped_column(String(64), default="")
    places: Mapped[list["Place"]] = relationship(order_by="Place.id", passive_deletes=True)
    trial: Mapped["TrialRow"] = relationship(passive_deletes=True)


class Place(Base):
    """Where a content lies; two places are copies of each other.

    bytes, changed_ns  size and time of change when its hash was taken: a file that still has both is not read again
    """

    __tablename__ = "place"
    __table_args__ = (Index("ix_place_clip_id_id", "clip_id", "id"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    clip_id: Mapped[int] = mapped_column(ForeignKey("clip.id", ondelete="CASCADE"))
    path: Mapped[str] = mapped_column(unique=True)
    seen_at: Mapped[float]
    bytes: Mapped[int] = mapped_column(BigInteger)
    changed_ns: Mapped[int] = mapped_column(BigInteger)


class TrialRow(Base):
    """What a sheet says of a clip; without a sheet it belongs to no visit.

    sheet  the file that said it, "" = none
    """

    __tablename__ = "trial"

    id: Mapped[int] = mapped_column(primary_key=True)
    clip_id: Mapped[int] = mapped_column(ForeignKey("clip.id", ondelete="CASCADE"), unique=True)
    visit_id: Mapped[int | None] = mapped_column(ForeignKey("visit.id", ondelete="CASCADE"), index=True)
    condition: Mapped[str] = mapped_column(default="")
    baseline: Mapped[bool] = mapped_column(default=False)
    belt_m_s: Mapped[float | None]
    filmed_fps: Mapped[float | None]
    facing: Mapped[str | None] = mapped_column(String(5))
    fps: Mapped[float | None]
    incline_deg: Mapped[float | None]
    lead_tension_n: Mapped[float | None]
    withers_cm: Mapped[float | None]
    mass_kg: Mapped[float | None]
    notes: Mapped[str] = mapped_column(default="")
    sheet: Mapped[str] = mapped_column(default="")
    visit: Mapped[Visit | None] = relationship()


class Unusable(Base):
    """A file that was not taken in, and why."""

    __tablename__ = "unusable"

    id: Mapped[int] = mapped_column(primary_key=True)
    path: Mapped[str] = mapped_column(unique=True)
    reason: Mapped[str]
    seen_at: Mapped[float]


class TaskRow(Base):
    """One reading of one clip that is wanted, under way or done.

    key      what the record will depend on (gait.caseload.keys.reading_key)
    reading  the part of it that is the same for all clips: network, settings, version
    state    "waiting", "running", "done", "failed" (it said why), "aside" (it killed its worker twice)
    owner    who runs it, as gait.caseload.queue says; "" = nobody
    error, exit_code   of the last try that did not end well
    """

    __tablename__ = "task"
    __table_args__ = (UniqueConstraint("clip_id", "key"), Index("ix_task_state_reading", "state", "reading"))

    id: Mapped[int] = mapped_column(primary_key=True)
    clip_id: Mapped[int] = mapped_column(ForeignKey("clip.id", ondelete="CASCADE"))
    key: Mapped[str] = mapped_column(String(64))
    reading: Mapped[str] = mapped_column(String(64))
    state: Mapped[str] = mapped_column(String(8), default="waiting")
    tries: Mapped[int] = mapped_column(default=0)
    deaths: Mapped[int] = mapped_column(default=0)
    owner: Mapped[str] = mapped_column(default="")
    beat_at: Mapped[float | None]
    begun_at: Mapped[float | None]
    ended_at: Mapped[float | None]
    error: Mapped[str] = mapped_column(default="")
    exit_code: Mapped[int | None]


class RecordRow(Base):
    """What came of one reading. Older ones of the same clip are kept, so that both can be compared.

    folder   of its files, relative to the home of the caseload
    current  whether it is the newest of its clip, by which lists and trends go; it may be stale (see Clip.wanted)
    overruled, overruled_key   what a person said against the reading, which is part of this row and of its measures
                               (gait.caseload.made); the files in ``folder`` are the reading's own
    """

    __tablename__ = "record"

    id: Mapped[int] = mapped_column(primary_key=True)
    clip_id: Mapped[int] = mapped_column(ForeignKey("clip.id", ondelete="CASCADE"), index=True)
    task_id: Mapped[int] = mapped_column(ForeignKey("task.id", ondelete="CASCADE"), unique=True)
    key: Mapped[str] = mapped_column(String(64))
    current: Mapped[bool] = mapped_column(default=True)
    network_hash: Mapped[str] = mapped_column(default="")
    network_name: Mapped[str] = mapped_column(default="")
    version: Mapped[str] = mapped_column(default="")
    folder: Mapped[str]
    read_at: Mapped[float]
    facing: Mapped[str] = mapped_column(String(5), default="")
    grade: Mapped[str] = mapped_column(default="")
    gait: Mapped[str] = mapped_column(default="")
    strides_used: Mapped[int] = mapped_column(default=0)
    notices: Mapped[list[Any]]
    checks: Mapped[list[Any]]
    trial: Mapped[dict[str, Any]]
    overruled: Mapped[str] = mapped_column(default="", server_default="")
    overruled_key: Mapped[str] = mapped_column(String(64), default="", server_default="")


class MeasureRow(Base):
    """One compared measure of one gait over the used strides of one record; mean and sd in ``unit``."""

    __tablename__ = "measure"
    __table_args__ = (UniqueConstraint("record_id", "gait", "measure"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    record_id: Mapped[int] = mapped_column(ForeignKey("record.id", ondelete="CASCADE"))
    gait: Mapped[str]
    measure: Mapped[str]
    unit: Mapped[str] = mapped_column(String(8))
    n: Mapped[int]
    mean: Mapped[float]
    sd: Mapped[float | None]


class FindingRow(Base):
    """One line of the morning list. kind: unreadable, film_again, unsure, changed or gait_changed."""

    __tablename__ = "finding"

    id: Mapped[int] = mapped_column(primary_key=True)
    kind: Mapped[str] = mapped_column(String(12))
    rank: Mapped[float] = mapped_column(index=True)
    dog_id: Mapped[int | None] = mapped_column(ForeignKey("dog.id", ondelete="CASCADE"), index=True)
    clip_id: Mapped[int | None] = mapped_column(ForeignKey("clip.id", ondelete="CASCADE"), index=True)
    record_id: Mapped[int | None] = mapped_column(ForeignKey("record.id", ondelete="CASCADE"), index=True)
    date: Mapped[str] = mapped_column(default="")
    words: Mapped[str]
    advice: Mapped[str] = mapped_column(default="")
    measure: Mapped[str] = mapped_column(default="")
    gait: Mapped[str] = mapped_column(default="")
    unit: Mapped[str] = mapped_column(default="")
    before: Mapped[float | None]
    now: Mapped[float | None]
    difference: Mapped[float | None]
    low: Mapped[float | None]
    high: Mapped[float | None]
    repeatability: Mapped[float | None]
    page: Mapped[str] = mapped_column(default="")


class Forgotten(Base):
    """What was removed: counts and hashes of contents, no name and no path."""

    __tablename__ = "forgotten"

    id: Mapped[int] = mapped_column(primary_key=True)
    at: Mapped[float]
    what: Mapped[dict[str, Any]]


class Note(Base):
    """A word of the caseload to itself, such as that it is paused."""

    __tablename__ = "note"

    name: Mapped[str] = mapped_column(primary_key=True)
    value: Mapped[dict[str, Any]]
