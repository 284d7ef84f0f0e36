"""`pawfall caseload list` and `show`: what needs a person, and the story of one dog."""

from collections.abc import Iterator, Sequence
from contextlib import closing
from pathlib import Path
from typing import Any, Final

import click
from rich.box import HORIZONTALS
from rich.console import Console
from rich.table import Table
from rich.text import Text

from gait.caseload.errors import CaseloadError
from gait.caseload.findings import dog_id_of, update_findings
from gait.caseload.listing import ClipLine, clips
from gait.caseload.morning_pages import write_dog, write_morning
from gait.caseload.short_list import Case, DogStory, ShortList, short_list, story_of
from gait.caseload.store import Store, open_store
from gait.command.caseload import guarded
from gait.command.show import progress_bar, told
from gait.report.caseload.pages import PARTS, STATES, course_words, footage_words, pick_words, under_heads

#: Columns of a list that nobody watches: wide enough for a path and a sentence side by side.
UNWATCHED: Final = 160
#: How tables look.
PLAIN: Final[dict[str, Any]] = {"title_justify": "left", "box": HORIZONTALS}
#: Cases that a terminal shows; the page has all of them.
MOST: Final = 60


def morning_list(store: Store) -> tuple[ShortList, Path]:
    """What needs a person as things stand now, and its page in the home of the caseload."""
    _update(store)
    found = short_list(store)
    return found, write_morning(store, found)


def list_command(home: Path, database: str | None, *, everything: bool = False) -> int:
    """Print what needs a person, and write it as a page. everything: also every clip that was taken in."""

    def work() -> int:
        """Bring the findings up to date and show them."""
        with closing(open_store(home, database, create=False)) as store:
            found, page = morning_list(store)
            show_list(found, page)
            if everything:
                show_everything(clips(store), found)
        return 0

    return guarded(work)


def show_command(dog: str, home: Path, database: str | None) -> int:
    """Print visits, clips and findings of one dog, and write them as a page."""

    def work() -> int:
        """Find the dog and show it."""
        with closing(open_store(home, database, create=False)) as store:
            _update(store)
            dog_id = dog_id_of(store, dog)
            if dog_id is None:
                raise CaseloadError(f"The caseload has no dog called {dog!r}. A sheet gives clips their dogs.")
            show_dog(story_of(store, dog_id), write_dog(store, dog_id))
        return 0

    return guarded(work)


def _update(store: Store) -> None:
    with progress_bar("records") as report:
        update_findings(store, progress=lambda done, total: report("comparing", done, total))


def _console() -> Console:
    console = Console(highlight=False)
    return console if console.is_terminal else Console(highlight=False, width=UNWATCHED)


def show_list(found: ShortList, page: Path) -> None:
    """The list as tables, one for each kind of case."""
    console, left = _console(), MOST
    tally = [f"{found.tally[state]} {name.lower()}" for state, name in STATES.items() if found.tally.get(state)]
    whole = f"{told(found.clips, 'clip')} of {told(found.dogs, 'dog')}"
    console.print(": ".join((whole, *([", ".join(tally)] if tally else []))), soft_wrap=True)
    for part in PARTS:
        cases = [case for case in found.cases if case.kind in part.kinds]
        if cases and left > 0:
            console.print(_table(f"{part.title} ({len(cases)})", cases[:left]))
            left -= len(cases)
    if not found.cases:
        console.print("Nothing needs a person.")
    if left < 0:
        console.print(f"{-left} more stand on the page.")
    if pick := pick_words(found):
        console.print(f"To teach the network, from {page.parent}: {pick}", soft_wrap=True)
    if found.copies:
        more = "file holds" if len(found.copies) == 1 else "files hold"
        console.print(f"{len(found.copies)} {more} the same as another; each content is read once (--all names them).")
    if found.unsheeted:
        console.print(f"{told(found.unsheeted, 'clip')} without a sheet that tells dog and day.")
    console.print(f"As a page: {page}", soft_wrap=True)


def _table(title: str, cases: list[Case]) -> Table:
    table = Table(title=title, expand=True, show_lines=True, **PLAIN)
    for name, ratio in (("Dog, day", 1), ("What", 3)):
        table.add_column(name, ratio=ratio, overflow="fold")
    for case in cases:
        who = "\n".join(text for text in (case.dog, case.date, case.clip) if text)
        what = Text("\n".join((*_lines(case), *case.advice)))
        table.add_row(Text(who or "File"), what.append(f"\n{case.page}" if case.page else "", style="cyan"))
    return table


def _lines(case: Case) -> Iterator[str]:
    for head, texts in under_heads(case):
        if head:
            yield f"{head}:"
        yield from (f"- {text}" if head else text for text in texts)


def show_everything(lines: Sequence[ClipLine], found: ShortList) -> None:
    """Every clip with what became of it, and every content that lies in more than one place."""
    table = Table("Clip", "Dog", "Day", "Condition", "Gait", "Strides", "Footage", title="Clips", **PLAIN)
    for line in lines:
        _add(table, line.name, line.dog, line.date, line.condition, *_came_of(line))
    _console().print(table)
    for copy, first in found.copies.items():
        click.echo(f"{copy}: the same as {first}")


def _came_of(line: ClipLine) -> tuple[str, str, str]:
    return line.gait or "–", str(line.strides_used) if line.folder else "–", footage_words(line)


def _add(table: Table, *cells: str) -> None:
    table.add_row(*map(Text, cells))


def show_dog(story: DogStory, page: Path) -> None:
    """One dog: findings, measures over its visits, clips."""
    console = _console()
    console.print(f"{story.name}: {told(len(story.dates), 'visit')}, {told(len(story.clips), 'clip')}", markup=False)
    if story.cases:
        console.print(_table("What needs a person", list(story.cases)))
    groups = dict.fromkeys((course.condition, course.gait) for course in story.courses)
    for group in groups:
        table = Table("Measure", "Unit", title=", ".join(group), **PLAIN)
        for date in story.dates:
            table.add_column(date, justify="right")
        for course in story.courses:
            if (course.condition, course.gait) == group:
                unit, words = course_words(course)
                table.add_row(course.label, unit, *words)
        console.print(table)
    console.print(_clips(story))
    console.print(f"As a page: {page}", soft_wrap=True)


def _clips(story: DogStory) -> Table:
    table = Table("Clip", "Day", "Condition", "Belt", "Gait", "Strides", "Footage", title="Clips", **PLAIN)
    for line in story.clips:
        belt = story.belt_m_s.get(line.clip_id)
        _add(table, line.name, line.date, line.condition, f"{belt:.2f} m/s" if belt else "–", *_came_of(line))
    return table
