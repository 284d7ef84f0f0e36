"""What can be compared of a dog, what is taken when nobody chose, and why something cannot be."""

from collections.abc import Sequence

import pytest
from record_maker import Wish, make_record
from starlette.datastructures import QueryParams

from gait.caseload.listing import ClipLine
from gait.compare.compare import NEEDED
from gait.compare.sets import pairs_of, sets_of
from gait.desk.choosing import Asked, Side, asked_of, chosen_of, default_of, sides_of, to_film
from gait.desk.errors import DeskError
from gait.errors import TrialError
from gait.trial import Trial

D1, D2, D3 = "2026-03-02", "2026-03-09", "2026-03-16"
BLANK = ClipLine(0, "", "film", "", "Tansy", "", "", False, "done", "", 1, "good", "trot", 9, "f", False, 0.0, "")


def lines(*said: str) -> list[ClipLine]:
    """One line for each "day condition", with * behind a baseline and ? behind a clip that is not read."""
    found = []
    for number, words in enumerate(said, 1):
        date, condition = words.rstrip("*?").split(" ", 1) if " " in words else (words, "")
        unread = {"record_id": 0, "state": "waiting"} if words.endswith("?") else {}
        found.append(BLANK._replace(clip_id=number, name=f"{number}.mp4", date=date, condition=condition,
                                    baseline="*" in words, **unread))  # fmt: skip
    return found


def keys(sides: Sequence[Side]) -> list[str]:
    return [side.key for side in sides]


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        ((f"{D1} bare*", f"{D1} boots"), [f"{D1} bare", f"{D1} boots"]),
        ((f"{D1} bare*", f"{D1} boots", f"{D2} bare*", f"{D2} vest", f"{D2} boots"),
         [f"{D2} bare", f"{D2} boots", f"{D2} vest"]),
        ((f"{D1} bare*", f"{D1} boots", f"{D2} bare*"), [f"{D2} bare", f"{D1} bare"]),
        ((f"{D1} bare*", f"{D2} bare*", f"{D3} bare*"), [f"{D3} bare", f"{D2} bare"]),
        ((f"{D1} boots", f"{D2} boots"), [f"{D2} boots", f"{D1} boots"]),
        ((f"{D1} bare*", f"{D1} boots", f"{D2} vest"), [f"{D1} bare", f"{D1} boots"]),
        ((f"{D1} bare*", f"{D1} boots?", f"{D1} vest"), [f"{D1} bare", f"{D1} vest"]),
        ((f"{D1} bare*", f"{D1} boots?"), []),
        ((f"{D1} bare*", f"{D2} boots"), []),
        ((f"{D1} bare*",), []),
        ((), []),
    ],
    ids=["one day", "the newest day", "a newest day with one condition", "the last two of three visits",
         "visits without a baseline", "an older day", "one is not read", "the other is not read", "nothing in common",
         "one clip", "no clip"],
)  # fmt: skip
def test_the_usual_choice(said: tuple[str, ...], expected: list[str]) -> None:
    assert keys(default_of(sides_of(lines(*said)))) == expected


@pytest.mark.parametrize(
    ("said", "side", "reason"),
    [
        ((f"{D1} bare*", f"{D1} boots"), f"{D1} boots", ""),
        ((f"{D1} boots", f"{D2} boots"), f"{D1} boots", ""),
        ((f"{D1} bare*", f"{D2} boots"), f"{D2} boots", f"Tansy has no baseline on {D2}"),
        ((f"{D1} bare*", f"{D2} boots"), f"{D1} bare", f"no other condition on {D1}, no other visit bare"),
        ((f"{D1} bare*", f"{D1} boots*"), f"{D1} bare", "both 'boots' and 'bare' are called baseline"),
        ((f"{D1} bare*", f"{D1} boots?"), f"{D1} boots", "not read yet"),
        ((f"{D1} bare*", D1), f"{D1} ", "does not say its condition"),
    ],
    ids=["against the baseline", "against a visit", "no baseline", "nothing else", "two baselines", "not read",
         "no condition"],
)  # fmt: skip
def test_why_a_side_cannot_be_compared(said: tuple[str, ...], side: str, reason: str) -> None:
    found = next(one for one in sides_of(lines(*said)) if one.key == side)
    assert reason in found.reason and bool(found.reason) == bool(reason)


def records(*said: str) -> list[object]:
    """Records of the same clips."""
    trials = [Trial(line.name, line.dog, line.date, line.condition, line.baseline) for line in lines(*said)]
    return [make_record(Wish(runs=(("trot", 3),), dropped=(), trial=trial)) for trial in trials]


def test_the_reasons_are_those_of_the_comparison() -> None:
    said = (f"{D1} bare*", f"{D2} boots")
    (pair,) = pairs_of(sets_of(records(*said)))  # type: ignore[arg-type]
    assert pair.missing == sides_of(lines(*said))[0].reason
    both = (f"{D1} bare*", f"{D1} boots*")
    with pytest.raises(TrialError) as error:
        sets_of(records(*both))  # type: ignore[arg-type]
    assert str(error.value) in {side.reason for side in sides_of(lines(*both))}
    with pytest.raises(TrialError) as error:
        sets_of(records(D1))  # type: ignore[arg-type]
    assert str(error.value) == sides_of(lines(D1))[0].reason


def test_another_baseline_can_be_taken() -> None:
    found = lines(f"{D1} bare*", f"{D1} boots", f"{D1} vest")
    sides = sides_of(found, "boots")
    assert [(side.condition, side.baseline) for side in sides] == [("boots", True), ("bare", False), ("vest", False)]
    (remark,) = chosen_of(Asked(1, base="boots"), sides).remarks
    assert "Held against boots by choice" in remark


def test_clips_are_left_out_and_what_is_gone_is_told() -> None:
    sides = sides_of(lines(f"{D1} bare*", f"{D1} bare*", f"{D1} boots", f"{D1} boots?"))
    chosen = chosen_of(Asked(1, (f"{D1} bare", f"{D1} boots", f"{D1} gone"), frozenset({2})), sides)
    assert [line.clip_id for line in chosen.clips] == [1, 3]
    gone, left, unread = chosen.remarks
    assert gone.startswith(f"{D1} gone is not among") and "Left out by choice: 2.mp4" in left and "4.mp4" in unread


@pytest.mark.parametrize(
    ("said", "why", "what"),
    [
        ((f"{D1} bare*",), NEEDED, "Film Tansy bare again at the next visit"),
        ((f"{D1} boots",), NEEDED, "Film Tansy in boots again at the next visit"),
        ((f"{D1} bare*?",), "has been read", "can be compared here"),
        ((D1,), "says its condition", "Say it for each clip"),
    ],
    ids=["bare alone", "boots alone", "not read", "no condition"],
)
def test_what_to_film(said: tuple[str, ...], why: str, what: str) -> None:
    words = to_film("Tansy", sides_of(lines(*said)))
    assert why in words[0] and what in words[1]


def test_an_address_says_everything() -> None:
    asked = Asked(3, (f"{D1} in boots & vest", f"{D2} bare"), frozenset({7, 5}), "in boots & vest")
    assert asked_of(QueryParams(asked.query)) == asked
    assert asked_of(QueryParams("")) == Asked()
    with pytest.raises(DeskError):
        asked_of(QueryParams("dog=Tansy"))
