"""`pawfall caseload add, export, forget, pause, resume`: what the store is asked for from the command line."""

import time
from collections.abc import Callable, Sequence
from contextlib import closing
from pathlib import Path
from typing import Any, Final

import click

from gait.caseload.adding import Added, add
from gait.caseload.belongings import Belongings, belongings
from gait.caseload.blurring import export_films
from gait.caseload.errors import StoreError
from gait.caseload.exporting import export
from gait.caseload.forgetting import forget, note_proof
from gait.caseload.proving import Proof, look_for
from gait.caseload.queue import pause
from gait.caseload.scanning import scan
from gait.caseload.store import Store, open_store
from gait.caseload.watching import watch
from gait.command.edge import CANNOT_USE, EXPECTED, NOTHING_TO_SAY, exit_code, message, say_error
from gait.command.show import progress_bar
from gait.errors import GaitError

#: s until a store that was out of reach is tried again.
PATIENCE_S: Final = 5.0


def guarded(work: Callable[[], int]) -> int:
    """``work`` and its exit code; an error becomes one line."""
    try:
        return work()
    except EXPECTED as error:
        say_error(message(error))
        return exit_code(error)


def add_command(source: Path, home: Path, database: str | None, *, watch: bool, again: bool) -> int:
    """Take in clips and say what came of it; exit code 2 when a file cannot be used."""

    def work() -> int:
        """Add once, or until stopped."""
        with closing(open_store(home, database)) as store:
            if watch:
                return _watch(store, source)
            with progress_bar(source.name) as report:
                added = add(store, source, again=again, progress=report)
        show_added(added)
        return CANNOT_USE if added.faults else 0

    return guarded(work)


def _watch(store: Store, folder: Path) -> int:
    scan(folder, store.home)  # a folder that is not there now is a mistake; one that goes away later may come back
    click.echo(f"looking at {folder} until stopped (Ctrl-C)")
    while True:
        try:
            for added in watch(store, folder):
                show_added(added)
        except (StoreError, GaitError, OSError) as error:
            if isinstance(error, StoreError) and not error.passing:
                raise
            say_error(f"{message(error)} It is tried again in {PATIENCE_S:g} s.")
            time.sleep(PATIENCE_S)
        except KeyboardInterrupt:
            click.echo("stopped; what was taken in is in the store.")
            return 0


def show_added(added: Added) -> None:
    """What was taken in, what is there twice, what cannot be used."""
    words = [f"{added.new} new", f"{added.known} known already"]
    words += [f"{added.changed} of which the sheet says something else now"] if added.changed else []
    words += [f"{added.forgotten} of a removed dog left out (--again takes them in)"] if added.forgotten else []
    click.echo(f"clips: {', '.join(words)}")
    for path, first in added.copies:
        click.echo(f"  copy: {path} is the same as {first}")
    for fault in added.faults:
        say_error(f"{fault.path}: {fault.reason}")


def export_command(out: Path, home: Path, database: str | None, *, films: Any, versions: bool) -> int:
    """Write the table, and films beside it when they are asked for."""

    def work() -> int:
        """Table first, films after it."""
        with closing(open_store(home, database, create=False)) as store:
            click.echo(f"{export(store, out, versions=versions)} lines: {out}")
            return 0 if films == "none" else _export_films(store, out.with_name(f"{out.stem}-films"), films)

    return guarded(work)


def _export_films(store: Store, folder: Path, films: Any) -> int:
    left_out = export_films(store, folder, films)
    click.echo(f"films: {folder}")
    for name, why in left_out:
        say_error(f"{name}: left out; {why}")
    return CANNOT_USE if left_out else 0


def forget_command(
    dog: str, home: Path, database: str | None, *, yes: bool, keep_sources: bool, also: Sequence[Path]
) -> int:
    """Remove a dog and look for what is left of it; exit code 3 when there is anything."""

    def work() -> int:
        """Show, ask, remove, look."""
        with closing(open_store(home, database, create=False)) as store:
            own = belongings(store, dog, also)
            _show_belongings(own, keep_sources)
            if not yes and not click.confirm("Remove all of this? It cannot be brought back", default=False):
                click.echo("nothing was removed.")
                return CANNOT_USE
            return _forget(store, own, keep_sources, also)

    return guarded(work)


def _forget(store: Store, own: Belongings, keep_sources: bool, also: Sequence[Path]) -> int:
    number = forget(store, own, keep_films=keep_sources)
    folders = {store.home, *(folder.resolve() for folder in also), *(film.parent for film in own.films)}
    proof = _without(look_for(store, own.dog, own.sha256, _topmost(folders)), own.films if keep_sources else ())
    note_proof(store, number, {"files": proof.files, "rows": proof.rows, "left": len(proof.left)})
    return _show_proof(proof)


def _show_belongings(own: Belongings, keep_sources: bool) -> None:
    click.echo(f"{own.dog}: {len(own.sha256)} clips, {own.records} records")
    for path in own.results:
        click.echo(f"  results: {path}")
    for path in own.films:
        click.echo(f"  {'kept' if keep_sources else 'film or its sheet'}: {path}")
    for path, ids in own.frames.items():
        click.echo(f"  {len(ids)} marked frames: {path}")


def _without(proof: Proof, kept: Sequence[Path]) -> Proof:
    """The proof without what was to be kept."""
    names = set(map(str, kept))
    return Proof(proof.files, proof.rows, tuple(item for item in proof.left if item[0] not in names))


def _topmost(folders: set[Path]) -> list[Path]:
    """``folders`` without those that lie within another."""
    return [one for one in folders if not any(other in one.parents for other in folders)]


def _show_proof(proof: Proof) -> int:
    looked = f"looked through {proof.files} files and {proof.rows} rows of the store"
    if not proof.left:
        click.echo(f"removed; {looked}: nothing is left.")
        return 0
    click.echo(f"removed; {looked}:")
    for place, what in proof.left:
        say_error(f"{place}: {what}")
    say_error(f"{len(proof.left)} places still hold something of it; mend them by hand.")
    return NOTHING_TO_SAY


def pause_command(home: Path, database: str | None, *, paused: bool) -> int:
    """Ask runs to begin nothing new, or to go on."""

    def work() -> int:
        """Note it in the store."""
        with closing(open_store(home, database, create=False)) as store:
            pause(store, paused)
        click.echo("paused; what is being read is read to its end." if paused else "goes on.")
        return 0

    return guarded(work)
