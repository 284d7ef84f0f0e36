"""How many dogs that did not change the morning list calls changed, and how many that did change it finds.

``PYTHONPATH=.:tests/caseload python -m false_alarms 60`` has 60 dogs come three times with three clips each, for three
sizes of what differs from day to day besides what differs from clip to clip; then a fifth as many with each of the
changes of the planted caseload. Both at the third visit, and with the first two or the last two visits alone.
"""

import sys
from collections.abc import Sequence
from typing import Final

from gait.caseload.morning import Finding, Read, visit_findings
from gait.nouns import GaitRecord
from gait.record import build_record
from gait.trial import Trial
from training.footage.planted import CHANGES, CLIPS, VISITS, Change, PlantedClip, Steadiness, followed_dog
from training.footage.undrawn import landmarks_of

#: Dogs are numbered from here: none of them is in the planted caseload.
FIRST: Final = 3000
#: SD from day to day, in SDs from clip to clip.
DAYS: Final = (0.0, 0.5, 1.0)


def records_of(number: int, change: Change | None = None, days: float = 0.5) -> list[GaitRecord]:
    """The records of one dog, visit after visit."""
    return [record_of_planted(clip) for clip in followed_dog(number, change, Steadiness(visits=days)).clips]


def record_of_planted(clip: PlantedClip) -> GaitRecord:
    """The record of a planted clip, with what its sheet would say."""
    plan = clip.plan
    trial = Trial(
        clip=plan.name, dog=plan.dog, date=plan.date, condition=plan.condition, baseline=plan.baseline,
        facing=plan.facing, belt_m_s=round(clip.belt_m_s, 2), withers_cm=round(clip.withers_cm, 1),
    )  # fmt: skip
    return build_record(landmarks_of(plan, roll_deg=clip.roll_deg), trial)


def findings(records: Sequence[GaitRecord]) -> tuple[Finding, ...]:
    """What the list says of the newest visit of one dog."""
    return visit_findings([Read(record, number, number, "", "") for number, record in enumerate(records)])


def alarms(dogs: int, days: float) -> dict[int, int]:
    """Visits that are there -> how many of ``dogs`` that did not change are called changed at the last of them."""
    found = dict.fromkeys((2, VISITS), 0)
    for number in range(FIRST, FIRST + dogs):
        records = records_of(number, days=days)
        for visits in found:
            found[visits] += bool(findings(records[: visits * CLIPS]))
    return found


def found_of(dogs: int, change: Change) -> dict[int, int]:
    """Visits that are there -> in how many of ``dogs`` the list finds ``change`` at the last of them."""
    found = dict.fromkeys((2, VISITS), 0)
    for number in range(FIRST, FIRST + dogs):
        records = records_of(number, change)
        for visits in found:
            told = findings(records[-visits * CLIPS :])
            found[visits] += any(one.measure == change.measure for one in told)
    return found


def main() -> None:
    """Say both."""
    dogs = int(sys.argv[1])
    for days in DAYS:
        for visits, count in alarms(dogs, days).items():
            sys.stdout.write(f"day to day {days:g} x clip to clip, {visits} visits: {count} of {dogs} dogs\n")
    for change in CHANGES:
        for visits, count in found_of(dogs // 5, change).items():
            sys.stdout.write(f"{change.words}, {visits} visits: found in {count} of {dogs // 5} dogs\n")


if __name__ == "__main__":
    main()
