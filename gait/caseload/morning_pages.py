"""Writes the morning list and the pages of its dogs into the home of a caseload."""

from datetime import datetime
from pathlib import Path
from typing import Final

from gait.caseload.findings import PAGES, VISITS, dog_page
from gait.caseload.short_list import ShortList, short_list, story_of
from gait.caseload.store import Store
from gait.report.caseload.pages import dog_html, morning_page
from gait.report.comparison.naturally import day
from gait.report.writing import write_whole

LIST: Final = "morning.html"


def write_morning(store: Store, found: ShortList | None = None) -> Path:
    """Write the list, and the page of every dog on it; returns where the list lies."""
    found = found or short_list(store)
    now = datetime.now()
    made = f"Written on {day(now.date().isoformat())} at {now:%H:%M}"
    path = store.home / LIST
    write_whole(path, morning_page(found, made).encode("utf-8"))
    pages = {case.dog_page for case in found.cases if case.dog_page}
    for old in (store.home / PAGES).glob("dog-*.html"):
        if not old.stem.endswith(VISITS) and old.relative_to(store.home).as_posix() not in pages:
            old.unlink()  # it tells what was so when it was written
    for page in sorted(pages):
        write_dog(store, int(Path(page).stem.removeprefix("dog-")))
    return path


def write_dog(store: Store, dog_id: int) -> Path:
    """Write the page of one dog; returns where it lies."""
    path = store.home / dog_page(dog_id)
    path.parent.mkdir(exist_ok=True)
    write_whole(path, dog_html(story_of(store, dog_id), "..").encode("utf-8"))
    return path
