"""What can be compared of one dog: its visits and conditions, what is taken when nobody chose, and why something cannot
be. Pure: lines of the lists in, words out."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final
from urllib.parse import urlencode

from starlette.datastructures import QueryParams

from gait.caseload.listing import ClipLine
from gait.caseload.queue import ASIDE, FAILED
from gait.compare.compare import NEEDED
from gait.compare.sets import no_baseline, two_baselines, unsaid
from gait.desk.errors import DeskError
from gait.report.comparison.naturally import wearing

#: Names of what an address of the page holds.
DOG, OF, WITHOUT, BASE = "dog", "of", "without", "base"
UNREAD: Final = "not read yet; it is read as soon as its turn comes."


@dataclass(frozen=True, slots=True)
class Side:
    """All clips of one dog in one condition on one day. reason: why it can be held against nothing, "" = it can."""

    date: str
    condition: str
    baseline: bool
    clips: tuple[ClipLine, ...]
    reason: str = ""

    @property
    def key(self) -> str:
        """What it is called in an address."""
        return f"{self.date} {self.condition}"

    @property
    def read(self) -> tuple[ClipLine, ...]:
        """The clips that have a record."""
        return tuple(line for line in self.clips if line.record_id)


@dataclass(frozen=True, slots=True)
class Asked:
    """What a person asks for; the address of the page says the same.

    dog      its number; None = not chosen yet
    of       keys of the sides; none = the default
    without  numbers of clips to be left out
    base     condition that the others are held against; "" = as the trial sheets say
    """

    dog: int | None = None
    of: tuple[str, ...] = ()
    without: frozenset[int] = frozenset()
    base: str = ""

    @property
    def query(self) -> str:
        """The same as the end of an address."""
        said = [(DOG, str(self.dog))] if self.dog is not None else []
        said += [(OF, key) for key in self.of] + [(WITHOUT, str(number)) for number in sorted(self.without)]
        return urlencode(said + ([(BASE, self.base)] if self.base else []))


@dataclass(frozen=True, slots=True)
class Chosen:
    """What is compared: sides, their clips but for those left out, and sentences about what is not as it was asked."""

    sides: tuple[Side, ...]
    clips: tuple[ClipLine, ...]
    remarks: tuple[str, ...] = ()


def asked_of(query: QueryParams) -> Asked:
    """What an address asks for. Raises DeskError when a number in it is none."""
    dog = query.get(DOG)
    try:
        without = frozenset(int(number) for number in query.getlist(WITHOUT))
        return Asked(int(dog) if dog else None, tuple(query.getlist(OF)), without, query.get(BASE, "").strip())
    except ValueError as error:
        raise DeskError("This address is not one of the desk's: the number of a dog or a clip is no number.") from error


def sides_of(lines: Sequence[ClipLine], base: str = "") -> tuple[Side, ...]:
    """The sides of one dog, the newest day first, the baseline before the others; ``base`` as in Asked."""
    found: dict[tuple[str, str], list[ClipLine]] = {}
    for line in lines:
        found.setdefault((line.date, line.condition), []).append(line)
    sides = [Side(*key, _is_base(key[1], clips, base), tuple(clips)) for key, clips in found.items()]
    sides.sort(key=lambda side: (not side.baseline, side.condition))
    sides.sort(key=lambda side: side.date, reverse=True)
    return tuple(replace(side, reason=_reason(side, sides)) for side in sides)


def _is_base(condition: str, clips: Sequence[ClipLine], base: str) -> bool:
    return condition == base if base else any(line.baseline for line in clips)


def _reason(side: Side, sides: Sequence[Side]) -> str:
    """Why a side can be held against nothing; "" when there is something."""
    if not side.read:
        return "; ".join(dict.fromkeys(unread(line) for line in side.clips))
    if not side.condition:
        return unsaid(side.clips[0].name, "condition")
    same_day = [other for other in sides if other.date == side.date and other is not side and other.read]
    bases = [other for other in same_day if other.baseline]
    if side.baseline and bases:
        return two_baselines(side.clips[0].dog, side.date, (bases[0].condition, side.condition))
    visits = [other for other in sides if other.condition == side.condition and other.date != side.date and other.read]
    if visits or bases or (side.baseline and same_day):
        return ""
    if not side.baseline:
        return no_baseline(side.clips[0].dog, side.date)
    return f"there is nothing to hold it against: no other condition on {side.date}, no other visit {_in(side)}."


def _in(side: Side) -> str:
    return wearing(side.condition)


def unread(line: ClipLine) -> str:
    """Why a clip has no record."""
    return f"not read: {line.error}" if line.state in (FAILED, ASIDE) and line.error else UNREAD


def default_of(sides: Sequence[Side]) -> tuple[Side, ...]:
    """The baseline and each other condition of the newest visit; else the last two visits in one condition; else the
    newest earlier day with a baseline and another condition; else none."""
    usable = [side for side in sides if not side.reason]
    days = list(dict.fromkeys(side.date for side in sides if side.read))
    if newest := _day(usable, days[:1]):
        return newest
    for place, side in enumerate(usable):
        for earlier in usable[place + 1 :]:
            if earlier.condition == side.condition:
                return side, earlier
    return _day(usable, days[1:])


def _day(usable: Sequence[Side], days: Sequence[str]) -> tuple[Side, ...]:
    """The first of ``days`` that has a baseline and another condition."""
    for day in days:
        found = tuple(side for side in usable if side.date == day)
        if len(found) > 1 and found[0].baseline:
            return found
    return ()


def chosen_of(asked: Asked, sides: Sequence[Side]) -> Chosen:
    """What is compared of ``sides``."""
    known = {side.key: side for side in sides}
    picked = tuple(side for side in sides if side.key in asked.of) if asked.of else default_of(sides)
    remarks = [f"{key} is not among the clips of this dog any more." for key in asked.of if key not in known]
    clips = []
    for side in picked:
        for line in side.clips:
            if line.clip_id in asked.without:
                remarks.append(f"Left out by choice: {line.name} ({side.condition}, {side.date}).")
            elif not line.record_id:
                remarks.append(f"{line.name} ({side.condition}, {side.date}) is {unread(line)}")
            else:
                clips.append(line)
    if asked.base and any(line.baseline and line.condition != asked.base for line in clips):
        remarks.append(f"Held against {asked.base} by choice; the trial sheets call another condition the baseline.")
    return Chosen(picked, tuple(clips), tuple(remarks))


def to_film(dog: str, sides: Sequence[Side]) -> tuple[str, str]:
    """Why a dog has nothing to compare, and what to do next."""
    if not any(side.read for side in sides):
        return f"No clip of {dog} has been read yet.", "As soon as two are read they can be compared here."
    known = [side for side in sides if side.read and side.condition]
    if not known:
        return f"No clip of {dog} says its condition.", "Say it for each clip, then they can be compared."
    side = known[0]
    return (
        f"There is nothing to compare yet: {NEEDED}",
        f"Film {dog} {_in(side)} again at the next visit, or {_in(side)} and in another condition on one day, "
        "two or three clips of each.",
    )
