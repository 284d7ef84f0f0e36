"""`pawfall caseload run`: reads all that waits, on this machine or on a cluster, until it is done or stopped."""

import signal
import threading
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

import click

from gait.caseload.crew import Crew, LocalCrew, usable_cores
from gait.caseload.errors import CaseloadError, StoreError
from gait.caseload.guard import Limits
from gait.caseload.keys import UNATTENDED, Wanted, wanted_of
from gait.caseload.owners import owner_here
from gait.caseload.planning import Planned, plan, wait_where_gone
from gait.caseload.queue import WAITING, counts, try_again
from gait.caseload.running import Run, Tally
from gait.caseload.store import Store, open_store
from gait.caseload.watching import watch
from gait.command.caseload import guarded, show_added
from gait.command.caseload_list import morning_list
from gait.command.caseload_show import Night, show_night
from gait.command.edge import NOTHING_TO_SAY, say_error
from gait.command.show import told

MIB_PER_GIB: Final = 1024
#: What the shell calls a program that was stopped by Ctrl-C.
STOPPED: Final = 130


def run_command(home: Path, database: str | None, options: dict[str, Any]) -> int:
    """Read all that waits; exit code 3 when a clip failed or was set aside, 130 when the run was stopped."""

    def work() -> int:
        """Plan, read, say what came of it."""
        wanted = wanted_of(options["network"], options["precision"], replace(UNATTENDED, film=options["films"]))
        with closing(open_store(home, database, create=options["watch"] is not None)) as store:
            if options["retry"]:
                try_again(store)
            if gone := wait_where_gone(store):
                click.echo(f"{told(gone, 'clip')} to be read again: the results are gone")
            show_planned(plan(store, wanted, stale=options["stale"]))
            return _spend(store, wanted, options)

    return guarded(work)


def _spend(store: Store, wanted: Wanted, options: dict[str, Any]) -> int:
    total = counts(store, wanted)[WAITING]
    with stopping() as stop, show_night(total) as (night, tell):
        run = Run(store, wanted, _crew(options), tell=tell, stop=stop, endless=options["watch"] is not None)
        with _watching(run, options["watch"], night):
            tally = run.go()
    left = counts(store, wanted)[WAITING]
    click.echo(tally_words(tally))
    if stop.is_set() and not run.endless:
        say_error(f"stopped; {left} clips wait. Go on with: pawfall caseload run")
        return STOPPED
    if tally.read or tally.failed or tally.aside:
        click.echo(f"What needs a person: {morning_list(store)[1]}")
    return NOTHING_TO_SAY if tally.failed or tally.aside else 0


def _crew(options: dict[str, Any]) -> Crew:
    given = {"time_s": options["limit_s"], "memory_mib": options["memory_gib"] and options["memory_gib"] * MIB_PER_GIB}
    limits = Limits(**{name: value for name, value in given.items() if value is not None})
    if options["cluster"] is None:
        return LocalCrew(options["workers"] or usable_cores(), limits)
    try:
        from gait.caseload.cluster import DaskCrew
    except ModuleNotFoundError as error:
        raise CaseloadError(
            f"A cluster needs {error.name}, which is not installed: pip install 'pawfall[cluster]'"
        ) from error
    return DaskCrew(options["cluster"], limits, f"pawfall-{owner_here()}")


@contextmanager
def stopping() -> Iterator[threading.Event]:
    """An event that Ctrl-C, or a polite request of the system to end, sets."""
    stop = threading.Event()
    kinds = (signal.SIGINT, signal.SIGTERM)
    before = [signal.signal(kind, lambda *_: stop.set()) for kind in kinds]
    try:
        yield stop
    finally:
        for kind, handler in zip(kinds, before, strict=True):
            signal.signal(kind, handler)


@contextmanager
def _watching(run: Run, folder: Path | None, night: Night) -> Iterator[None]:
    """Take in what comes into ``folder`` meanwhile."""
    if folder is None:
        yield
        return
    thread = threading.Thread(target=_take_in, args=(run, folder, night), name="watching", daemon=True)
    thread.start()
    try:
        yield
    finally:
        run.stop.set()
        thread.join()


def _take_in(run: Run, folder: Path, night: Night) -> None:
    """Until the run is stopped. What goes wrong is said and tried again; what has come in stays."""
    while not run.stop.is_set():
        try:
            for added in watch(run.store, folder, ended=run.stop.is_set):
                show_added(added)
                night.more(plan(run.store, run.wanted).new)
        except (StoreError, OSError) as error:
            say_error(f"{error} Looking again.")
            run.stop.wait(run.settings.retry_s)


def show_planned(planned: Planned) -> None:
    """What is to be read, and what is not."""
    words = [f"{told(planned.new, 'new clip')} to read", f"{planned.current} read already"]
    if planned.stale:
        words.append(f"{planned.stale} read by an older network, setting or version (--stale reads them again)")
    click.echo("; ".join(words))


def tally_words(tally: Tally) -> str:
    """'58 clips read, 1 failed, 1 set aside'."""
    more = [(tally.failed, "failed"), (tally.aside, "set aside")]
    return ", ".join([f"{told(tally.read, 'clip')} read", *(f"{count} {words}" for count, words in more if count)])
