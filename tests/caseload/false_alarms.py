"""How many dogs that did not change the morning list calls changed.

``PYTHONPATH=.:tests/caseload python -m false_alarms 60`` has 60 dogs come three times with three clips each, for three
sizes of what differs from day to day besides what differs from clip to clip; and looks at two and three visits.
"""

import sys
from collections.abc import Iterator, Sequence
from typing import Final

from gait.caseload.morning import Read, visit_findings
from gait.nouns import GaitRecord
from gait.record import build_record
from gait.trial import Trial
from training.footage.planted import CLIPS, VISITS, PlantedClip, Steadiness, unchanged_dog
from training.footage.undrawn import landmarks_of

#: Dogs are numbered from here: none of them is in the planted caseload.
FIRST: Final = 3000
#: SD from day to day, in SDs from clip to clip.
DAYS: Final = (0.0, 0.5, 1.0)


def unchanged(dogs: int, days: float) -> Iterator[list[GaitRecord]]:
    """The records of one dog after the other, visit after visit."""
    for number in range(FIRST, FIRST + dogs):
        yield [record_of_planted(clip) for clip in unchanged_dog(number, Steadiness(visits=days)).clips]


def record_of_planted(clip: PlantedClip) -> GaitRecord:
    """The record of a planted clip, with what its sheet would say."""
    plan = clip.plan
    trial = Trial(
        clip=plan.name, dog=plan.dog, date=plan.date, condition=plan.condition, baseline=plan.baseline,
        facing=plan.facing, belt_m_s=round(clip.belt_m_s, 2), withers_cm=round(clip.withers_cm, 1),
    )  # fmt: skip
    return build_record(landmarks_of(plan, roll_deg=clip.roll_deg), trial)


def called_changed(records: Sequence[GaitRecord]) -> bool:
    """Whether the newest visit of one dog is on the list."""
    reads = [Read(record, number, number, "", "") for number, record in enumerate(records)]
    return bool(visit_findings(reads))


def alarms(dogs: int, days: float) -> dict[int, int]:
    """Visits that are there -> how many of ``dogs`` are called changed at the last of them."""
    found = dict.fromkeys((2, VISITS), 0)
    for records in unchanged(dogs, days):
        for visits in found:
            found[visits] += called_changed(records[: visits * CLIPS])
    return found


def main() -> None:
    """Say it for each of ``DAYS``."""
    dogs = int(sys.argv[1])
    for days in DAYS:
        for visits, count in alarms(dogs, days).items():
            sys.stdout.write(f"day to day {days:g} x clip to clip, {visits} visits: {count} of {dogs} dogs\n")


if __name__ == "__main__":
    main()
