"""What a person overruled, beside what the reading says, as rows of the page."""

from collections import Counter
from typing import Final

from gait.nouns import GaitRecord, Overruled

LEFT_OUT: Final = "leave it out"
NOT_SAID: Final = "not said"


def overruled_table(record: GaitRecord) -> list[dict[str, str]]:
    """One row for each thing that a person said, in the order in which it was said."""
    return [
        {
            "paw": one.paw.replace("_", " "),
            "start": f"{one.start_s:.3f}",
            "end": f"{one.end_s:.3f}",
            "machine": machine_words(one),
            "person": one.gait or LEFT_OUT,
            "reason": one.reason,
            "by": one.by or NOT_SAID,
            "at": one.at[:16].replace("T", " "),
        }
        for one in record.overruled
    ]


def machine_words(one: Overruled) -> str:
    """ "trot", "3 trot, 1 unclear", or why nothing is decided."""
    counts = Counter(one.machine)
    if len(counts) == 1:
        return next(iter(counts))
    return ", ".join(f"{count} {name}" for name, count in counts.items()) or one.idle
