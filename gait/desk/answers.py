"""Answers of comparisons: made one after the other behind the pages, and kept at hand for as long as the desk runs."""

from collections.abc import Callable, Hashable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from threading import Lock
from typing import Final

from markupsafe import Markup

from gait.caseload.listing import ClipLine
from gait.compare.compare import compare_records
from gait.compare.nouns import Comparison
from gait.desk.errors import DeskError
from gait.errors import GaitError
from gait.nouns import GaitRecord
from gait.report.comparison.content import Document
from gait.report.comparison.document import build_document
from gait.report.comparison.page import sections_of
from gait.showing import shown_pair

#: Answers that are kept; each holds its figures as text, 1 MB or less.
MOST_KEPT: Final = 12
#: Sections of a report that come first and always in this order; the films in step follow them.
FIRST: Final = ("answer", "cautions")

NOTHING: Final = Markup()

#: Takes (clips done, clips in all).
Tell = Callable[[int, int], None]
#: The record of a clip.
Open = Callable[[ClipLine], GaitRecord]


@dataclass(frozen=True, slots=True, eq=False)
class Answer:
    """What a comparison says.

    document      the content of its report; None = nothing could be compared, and ``words`` say why
    first, rest   its sections as HTML: the answer with its cautions, and the details
    pair          clips whose films are shown in step at first: (baseline, condition); None = there are no two
    """

    words: str = ""
    document: Document | None = None
    first: Markup = NOTHING
    rest: Markup = NOTHING
    pair: tuple[int, int] | None = None


def answer_of(
    clips: Sequence[ClipLine],
    open_record: Open,
    *,
    base: str = "",
    remarks: Sequence[str] = (),
    tell: Tell = lambda done, total: None,
) -> Answer:
    """Compare the records of ``clips``; base and remarks as in gait.desk.choosing."""
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
    document = build_document(comparison, remarks=(*remarks, *gone))
    first = [section for key in FIRST for section in document.sections if section.key == key]
    rest = [section for section in document.sections if section.key not in FIRST]
    return Answer("", document, sections_of(first), sections_of(rest), _pair(comparison, records))


def as_said(record: GaitRecord, line: ClipLine, base: str = "") -> GaitRecord:
    """``record`` under the dog, day and condition by which the lists know its clip."""
    baseline = line.condition == base if base else line.baseline
    trial = replace(
        record.trial, clip=line.name, dog=line.dog, date=line.date, condition=line.condition, baseline=baseline
    )
    return replace(record, trial=trial)


def _pair(comparison: Comparison, records: dict[int, GaitRecord]) -> tuple[int, int] | None:
    """Numbers of the two clips of the first contrast that was compared, else of the first that has two sides."""
    contrasts = sorted((c for c in comparison.contrasts if c.baseline), key=lambda c: bool(c.declined))
    if not contrasts:
        return None
    numbers = {id(record): number for number, record in records.items()}
    one, two = shown_pair(contrasts[0])
    return numbers[id(one)], numbers[id(two)]


class Answers:
    """Makes and keeps answers. One thread alone draws the figures, since their styles are set for all at once."""

    def __init__(self, most: int = MOST_KEPT) -> None:
        self._most, self._lock = most, Lock()
        self._found: dict[Hashable, Future[Answer]] = {}
        self._told: dict[Hashable, tuple[int, int]] = {}
        self._worker = ThreadPoolExecutor(1, thread_name_prefix="comparing")

    def ask(self, key: Hashable, make: Callable[[Tell], Answer]) -> "Future[Answer]":
        """The answer of ``key``, under way or made; one that failed through a fault of ours is tried again."""
        with self._lock:
            found = self._found.pop(key, None)
            if found is None or (found.done() and found.exception()):
                found = self._worker.submit(make, lambda *told: self._told.__setitem__(key, told))
            self._found[key] = found  # the one that was asked for last goes last
            self._forget()
            return found

    def _forget(self) -> None:
        """Let go of the finished ones that were asked for longest ago, where there are too many."""
        finished = [key for key, future in self._found.items() if future.done()]
        for key in finished[: max(0, len(self._found) - self._most)]:
            del self._found[key]
            self._told.pop(key, None)

    def told(self, key: Hashable) -> tuple[int, int]:
        """(clips done, clips in all) of the answer of ``key``; (0, 0) before it is begun."""
        return self._told.get(key, (0, 0))
