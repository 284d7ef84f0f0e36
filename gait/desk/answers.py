"""Answers of comparisons, and their pictures: made one after the other behind the pages, and kept at hand for as long
as the desk runs."""

from collections.abc import Callable, Hashable, Iterable, Sequence
from concurrent.futures import CancelledError, Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from threading import Lock
from typing import Final, Generic, TypeVar

from markupsafe import Markup

from gait.caseload.listing import ClipLine
from gait.compare.compare import compare_records
from gait.compare.nouns import Comparison
from gait.desk.errors import DeskError
from gait.desk.pictures import Wish
from gait.errors import GaitError
from gait.nouns import GaitRecord
from gait.report.comparison.content import Document
from gait.report.comparison.document import build_document
from gait.report.comparison.page import sections_of
from gait.report.units import METRIC
from gait.showing import shown_pair, to_picture

#: Answers that are kept; each holds its figures as text, 1 MB or less.
MOST_KEPT: Final = 12
#: Sections of a report that come first and always in this order; the films in step follow them.
FIRST: Final = ("answer", "cautions")

NOTHING: Final = Markup()

#: Takes (clips done, clips in all).
Tell = Callable[[int, int], None]
#: The record of a clip.
Open = Callable[[ClipLine], GaitRecord]
#: The number of the dog, and all else that an answer depends on.
Key = tuple[int, Hashable]
Made = TypeVar("Made")


@dataclass(frozen=True, slots=True, eq=False)
class Answer:
    """What a comparison says.

    document      the content of its report; None = nothing could be compared, and ``words`` say why
    first, rest   its sections as HTML: the answer with its cautions, and the details
    pair          clips whose films are shown in step at first: (baseline, condition); None = there are no two
    wishes        clips of which key pictures are shown
    """

    words: str = ""
    document: Document | None = None
    first: Markup = NOTHING
    rest: Markup = NOTHING
    pair: tuple[int, int] | None = None
    wishes: tuple[Wish, ...] = ()


def answer_of(
    clips: Sequence[ClipLine],
    open_record: Open,
    *,
    base: str = "",
    remarks: Sequence[str] = (),
    units: str = METRIC,
    tell: Tell = lambda done, total: None,
) -> Answer:
    """Compare the records of ``clips``; base and remarks as in gait.desk.choosing, units of lengths and speeds."""
    records: dict[int, GaitRecord] = {}
    gone = []
    for done, line in enumerate(clips):
        tell(done, len(clips))
        try:
            records[line.clip_id] = as_said(open_record(line), line, base)
        except DeskError as error:
            gone.append(f"Not read: {line.name}. {error}")
    tell(len(clips), len(clips))
    try:
        comparison = compare_records(list(records.values()))
    except GaitError as error:
        return Answer(" ".join([str(error), *gone]))
    document = build_document(comparison, remarks=(*remarks, *gone), units=units)
    first = [section for key in FIRST for section in document.sections if section.key == key]
    rest = [section for section in document.sections if section.key not in FIRST]
    numbers = {id(record): number for number, record in records.items()}
    wishes = _wishes(comparison, numbers, {line.clip_id for line in clips if line.kind != "table"})
    return Answer("", document, sections_of(first), sections_of(rest), _pair(comparison, numbers), wishes)


def _wishes(comparison: Comparison, numbers: dict[int, int], filmed: set[int]) -> tuple[Wish, ...]:
    """The clips that are pictured, of those that were ``filmed``."""
    wishes = (Wish(numbers[id(one.record)], one.name, one.dog, one.box, one.facing) for one in to_picture(comparison))
    return tuple(wish for wish in wishes if wish.clip_id in filmed)


def as_said(record: GaitRecord, line: ClipLine, base: str = "") -> GaitRecord:
    """``record`` under the dog, day and condition by which the lists know its clip."""
    baseline = line.condition == base if base else line.baseline
    trial = replace(
        record.trial, clip=line.name, dog=line.dog, date=line.date, condition=line.condition, baseline=baseline
    )
    return replace(record, trial=trial)


def _pair(comparison: Comparison, numbers: dict[int, int]) -> tuple[int, int] | None:
    """Numbers of the two clips of the first contrast that was compared, else of the first that has two sides."""
    contrasts = sorted((c for c in comparison.contrasts if c.baseline), key=lambda c: bool(c.declined))
    if not contrasts:
        return None
    one, two = shown_pair(contrasts[0])
    return numbers[id(one)], numbers[id(two)]


class Answers(Generic[Made]):
    """Makes and keeps answers, in one thread, named after what it does: one thread alone draws figures, since their
    styles are set for all at once. What nobody wants any more ends where it next tells how far it is."""

    def __init__(self, name: str = "comparing", most: int = MOST_KEPT) -> None:
        self._most, self._lock = most, Lock()
        self._found: dict[Key, Future[Made]] = {}
        self._told: dict[Key, tuple[int, int]] = {}
        self._worker = ThreadPoolExecutor(1, thread_name_prefix=name)

    def ask(self, key: Key, make: Callable[[Tell], Made]) -> "Future[Made]":
        """The answer of ``key``, under way or made; one that failed through a fault of ours is tried again."""
        with self._lock:
            found = self._found.pop(key, None)
            if found is None or (found.done() and found.exception()):
                found = self._worker.submit(make, lambda *told: self._tell(key, told))
            self._found[key] = found  # the one that was asked for last goes last
            self._let_go()
            return found

    def _tell(self, key: Key, told: tuple[int, int]) -> None:
        with self._lock:
            if key not in self._found:
                raise CancelledError
            self._told[key] = told

    def _let_go(self) -> None:
        """Let go of the finished ones that were asked for longest ago, where there are too many."""
        finished = [key for key, future in self._found.items() if future.done()]
        self._drop(finished[: max(0, len(self._found) - self._most)])

    def _drop(self, keys: Iterable[Key]) -> None:
        for key in keys:
            self._found.pop(key).cancel()
            self._told.pop(key, None)

    def told(self, key: Key) -> tuple[int, int]:
        """(clips done, clips in all) of the answer of ``key``; (0, 0) before it is begun."""
        return self._told.get(key, (0, 0))

    def forget(self, dog_id: int) -> None:
        """Keep nothing of that dog, and end what is being made of it."""
        with self._lock:
            self._drop([key for key in self._found if key[0] == dog_id])

    def end(self) -> None:
        """Keep nothing, and make nothing any more."""
        with self._lock:
            self._drop(list(self._found))
        self._worker.shutdown(wait=False)
