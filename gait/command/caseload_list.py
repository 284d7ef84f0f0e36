"""`pawfall caseload list` and `show`: what needs a person, and the story of one dog."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

import click
from rich.box import HORIZONTALS
from rich.console import Console
from rich.table import Table
from rich.text import Text

from gait.caseload.errors import CaseloadError
from gait.caseload.findings import dog_id_of, update_findings
from gait.caseload.morning_pages import write_dog, write_morning
from gait.caseload.short_list import Case, DogStory, ShortList, short_list, story_of
from gait.caseload.store import Store, open_store
from gait.command.edge import EXPECTED, exit_code, message, say_error
from gait.report.caseload.pages import PARTS, STATES, course_words, pick_words, under_heads

#: Columns of a list that nobody watches: wide enough for a path and a sentence side by side.
UNWATCHED: Final = 160
#: Cases that a terminal shows; the page has all of them.
MOST: Final = 60


def list_command(home: Path, database: str | None, *, everything: bool = False) -> int:
    """Print what needs a person, and write it as a page. everything: also every clip that was taken in."""

    def work(store: Store) -> None:
        """Bring the findings up to date and show them."""
        update_findings(store)
        found = short_list(store)
        page = write_morning(store, found)
        show_list(found, page)
        if everything:
            show_copies(found)

    return _with_store(home, database, work)


def show_command(dog: str, home: Path, database: str | None) -> int:
    """Print visits, clips and findings of one dog, and write them as a page."""

    def work(store: Store) -> None:
        """Find the dog and show it."""
        update_findings(store)
        dog_id = dog_id_of(store, dog)
        if dog_id is None:
            raise CaseloadError(f"The caseload has no dog called {dog!r}. A sheet gives clips their dogs.")
        page = write_dog(store, dog_id)
        show_dog(story_of(store, dog_id), page)

    return _with_store(home, database, work)


def _with_store(home: Path, database: str | None, work: Any) -> int:
    try:
        store = open_store(home, database, create=False)
        try:
            work(store)
        finally:
            store.close()
    except EXPECTED as error:
        say_error(message(error))
        return exit_code(error)
    return 0


def _console() -> Console:
    console = Console(highlight=False)
    return console if console.is_terminal else Console(highlight=False, width=UNWATCHED)


def show_list(found: ShortList, page: Path) -> None:
    """The list as tables, one for each kind of case."""
    console, left = _console(), MOST
    tally = [f"{found.tally[state]} {name.lower()}" for state, name in STATES.items() if found.tally.get(state)]
    console.print(f"{found.clips} clips of {found.dogs} dogs: {', '.join(tally) or 'none to be read'}", soft_wrap=True)
    for part in PARTS:
        cases = [case for case in found.cases if case.kind in part.kinds]
        if cases and left > 0:
            console.print(_table(f"{part.title} ({len(cases)})", cases[:left]))
            left -= len(cases)
    if not found.cases:
        console.print("Nothing needs a person.")
    if left < 0:
        console.print(f"{-left} more stand on the page.")
    if pick := pick_words(found.cases):
        console.print(f"To teach the network, from {page.parent}: {pick}", soft_wrap=True)
    if found.copies:
        console.print(f"{len(found.copies)} clips lie in more than one place; each was read once (--all names them).")
    if found.unsheeted:
        console.print(f"{found.unsheeted} clips have no sheet that tells dog and day.")
    console.print(f"As a page: {page}", soft_wrap=True)


def _table(title: str, cases: list[Case]) -> Table:
    table = Table(title=title, title_justify="left", expand=True, show_lines=True, box=HORIZONTALS)
    for name, ratio in (("Dog, day", 2), ("What", 6), ("Page", 3)):
        table.add_column(name, ratio=ratio, overflow="fold")
    for case in cases:
        who = "\n".join(text for text in (case.dog, case.date, case.clip) if text)
        table.add_row(Text(who), Text("\n".join((*_lines(case), *case.advice))), Text(case.page))
    return table


def _lines(case: Case) -> Iterator[str]:
    for head, texts in under_heads(case):
        if head:
            yield f"{head}:"
        yield from (f"- {text}" if head else text for text in texts)


def show_copies(found: ShortList) -> None:
    """Every content that lies in more than one place."""
    for name, places in found.copies.items():
        click.echo(f"{name}: the same content lies in {', '.join(places)}")


def show_dog(story: DogStory, page: Path) -> None:
    """One dog: findings, measures over its visits, clips."""
    console = _console()
    console.print(f"{story.name}: {len(story.dates)} visits, {len(story.clips)} clips", markup=False)
    if story.cases:
        console.print(_table("What needs a person", list(story.cases)))
    groups = dict.fromkeys((course.condition, course.gait) for course in story.courses)
    for group in groups:
        table = Table("Measure", "Unit", title=", ".join(group), title_justify="left")
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
    table = Table("Clip", "Day", "Condition", "Belt", "Gait", "Strides", "Footage", title="Clips", title_justify="left")
    for clip in story.clips:
        belt = f"{clip.belt_m_s:.2f} m/s" if clip.belt_m_s else "–"
        strides = "–" if clip.strides is None else str(clip.strides)
        grade = clip.grade or STATES.get(clip.state, clip.state).lower()
        older = " (older)" if clip.page and clip.stale else ""
        cells = (clip.clip, clip.date, clip.condition, belt, clip.gait or "–", strides, grade + older)
        table.add_row(*map(Text, cells))
    return table
