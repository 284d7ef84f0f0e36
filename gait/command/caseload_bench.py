"""`pawfall caseload bench`: what a night of clips takes on this machine."""

from collections.abc import Sequence
from pathlib import Path
from typing import Final

import click

from gait.caseload.benchmark import Cost, Pace, cost, pace
from gait.caseload.crew import usable_cores
from gait.caseload.keys import wanted_of
from gait.command.caseload import guarded

#: Sizes of caseload that are held against each other.
SIZES: Final = (30, 300)
#: Times that each clip is read for each number of workers, with one worker; twice as often with two.
ROUNDS: Final = 2


def bench_command(clips: Sequence[Path], workers: int | None, network: Path | None) -> int:
    """Measure and print; returns the exit code."""

    def work() -> int:
        """First the pace, then what the store costs."""
        wanted = wanted_of(network)
        counts = range(1, (workers or usable_cores()) + 1)
        paces = []
        for count in counts:
            paces.append(pace(clips, wanted, count, ROUNDS * count))
            click.echo(pace_words(paces[-1], paces[0]))
        for size in SIZES:
            click.echo(cost_words(cost(clips[0], wanted, size)))
        return 0

    return guarded(work)


def pace_words(one: Pace, alone: Pace) -> str:
    """One line for so many workers, against as many times one worker."""
    share = 100 * one.per_minute / (one.workers * alone.per_minute)
    of = f" ({share:.0f} % of {one.workers} times one)" if one.workers > 1 else ""
    workers = f"{one.workers} worker{'s' if one.workers > 1 else ''}"
    return (
        f"{workers}: {one.per_minute:.1f} clips per minute{of}; {one.cpu_s:.2f} s of processor time per clip; "
        f"at most {one.peak_mib:.0f} MiB each"
    )


def cost_words(one: Cost) -> str:
    """One line for a caseload of so many landmark tables."""
    return (
        f"{one.clips} landmark tables: {one.add_ms:.0f} ms each to take in, {one.run_ms:.0f} ms to read and note; "
        f"of processor time {one.reading_ms:.0f} ms for reading and {one.beside_ms:.0f} ms for all else"
    )
