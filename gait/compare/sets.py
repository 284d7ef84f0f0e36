"""Records sorted into sets of one dog, condition and day, and which set is held against which."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from gait.compare.nouns import ClipSet, Kind
from gait.errors import TrialError
from gait.nouns import GaitRecord, Strides
from pose.landmarks import FAR_HIND, NEAR_HIND


@dataclass(frozen=True, slots=True, eq=False)
class Pair:
    """Two sets to be held against each other; baseline None = there is none, and ``missing`` says which."""

    kind: Kind
    baseline: ClipSet | None
    condition: ClipSet
    missing: str = ""


def sets_of(records: Sequence[GaitRecord]) -> tuple[ClipSet, ...]:
    """Every dog, day and condition with its clips, ordered by dog, then day, the baseline before the other conditions.

    Raises TrialError when a clip does not say its dog, day or condition, or a day has baselines of different names.
    """
    found: dict[tuple[str, str, str], list[GaitRecord]] = {}
    for record in sorted(records, key=lambda r: r.trial.clip):
        trial = record.trial
        for name in ("dog", "date", "condition"):
            if not getattr(trial, name):
                raise TrialError(unsaid(trial.clip, name))
        found.setdefault((trial.dog, trial.date, trial.condition), []).append(record)
    made = [ClipSet(*_key(key), tuple(clips), gait_counts(clips)) for key, clips in found.items()]
    _check_baselines(made)
    return tuple(sorted(made, key=lambda s: (s.dog, s.date, not is_baseline(s), s.condition)))


def unsaid(clip: str, name: str) -> str:
    """Why a clip that does not say its dog, day or condition cannot be compared."""
    return f"{clip or 'A clip'} does not say its {name}; a comparison needs it."


def _key(key: tuple[str, str, str]) -> tuple[str, str, str]:
    """Dog, condition, date in the order of ClipSet."""
    return key[0], key[2], key[1]


def is_baseline(clips: ClipSet) -> bool:
    """Whether the clips of the set are a baseline."""
    return clips.records[0].trial.baseline


def _check_baselines(sets: Sequence[ClipSet]) -> None:
    names: dict[tuple[str, str], str] = {}
    for s in sets:
        if len({record.trial.baseline for record in s.records}) > 1:
            raise TrialError(f"{s.dog}, {s.date}: {s.condition!r} is called baseline in one clip and not in another.")
        if is_baseline(s) and names.setdefault((s.dog, s.date), s.condition) != s.condition:
            other = names[s.dog, s.date]
            raise TrialError(two_baselines(s.dog, s.date, (other, s.condition)))


def two_baselines(dog: str, date: str, names: tuple[str, str]) -> str:
    """Why a day with two baselines cannot be compared."""
    return f"{dog}, {date}: both {names[0]!r} and {names[1]!r} are called baseline; keep one."


def gait_counts(records: Sequence[GaitRecord]) -> dict[str, int]:
    """Named and unclear strides of the hind paw that runs are told by (see gait.runs), most frequent first."""
    count: Counter[str] = Counter()
    for record in records:
        strides = record.strides
        rows = strides.used & (strides.paw == leading_hind(strides))
        count.update(str(name) for name in strides.gait[rows])
    return dict(sorted(count.items(), key=lambda item: (-item[1], item[0])))


def leading_hind(strides: Strides) -> int:
    """The near hind paw, or the far one where no near hind stride can be used."""
    return NEAR_HIND if (strides.used & (strides.paw == NEAR_HIND)).any() else FAR_HIND


def pairs_of(sets: Sequence[ClipSet]) -> tuple[Pair, ...]:
    """Each condition against the baseline of its dog and day, then each visit against the first and the one before."""
    found = [_against_baseline(s, sets) for s in sets if not is_baseline(s)]
    for s in sets:
        earlier = [e for e in sets if (e.dog, e.condition) == (s.dog, s.condition) and e.date < s.date]
        found += [Pair("visit", e, s) for e in (earlier[:1] if len(earlier) < 2 else [earlier[0], earlier[-1]])]
    return tuple(found)


def _against_baseline(clips: ClipSet, sets: Sequence[ClipSet]) -> Pair:
    same_day = [s for s in sets if (s.dog, s.date) == (clips.dog, clips.date) and is_baseline(s)]
    if same_day:
        return Pair("condition", same_day[0], clips)
    return Pair("condition", None, clips, no_baseline(clips.dog, clips.date))


def no_baseline(dog: str, date: str) -> str:
    """Why a condition is held against nothing."""
    return f"{dog} has no baseline on {date}; film it bare on the same day."
