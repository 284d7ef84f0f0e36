"""What a person sees of a night: bars where someone watches, else one line for each clip that is done."""

import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final

import click
from rich.console import Console
from rich.progress import BarColumn, Progress, TaskID, TextColumn

from gait.caseload.queue import ASIDE, DONE, WAITING
from gait.caseload.running import Began, Ended, Moved, News, Tell
from gait.command.edge import say_error

SHARE, MORE = TextColumn("{task.percentage:>3.0f} %"), TextColumn("{task.fields[more]}")
COLUMNS: Final = (TextColumn("{task.description}"), BarColumn(), SHARE, MORE)


class Night:
    """Counts what is done of what waits, and tells it."""

    def __init__(self, total: int, bars: Progress) -> None:
        self.total, self.done, self._bars, self._begun_s = total, 0, bars, time.monotonic()
        self._whole = bars.add_task("all clips", total=total, more="")
        self._lines: dict[int, TaskID] = {}

    def more(self, count: int) -> None:
        """So many clips came in meanwhile."""
        self.total += count
        self._bars.update(self._whole, total=self.total)

    def tell(self, news: News) -> None:
        """Show one piece of news."""
        if isinstance(news, Began):
            self._lines[news.task.id] = self._bars.add_task(f"  {news.task.name}", total=None, more="")
        elif isinstance(news, Moved):
            at, line = news.progress, self._lines[news.task.id]
            self._bars.update(line, completed=at.done, total=max(at.done, at.total), more=at.stage)
        elif isinstance(news, Ended):
            self._end(news)
        else:
            say_error(news.words)

    def _end(self, news: Ended) -> None:
        self._bars.remove_task(self._lines.pop(news.task.id))
        self.done += news.state != WAITING
        left = self.left()
        self._bars.update(self._whole, completed=self.done, more=left)
        words = ended_words(news)
        words = words if words.startswith(news.task.name) else f"{news.task.name}: {words}"
        if news.outcome.ending == "halt":
            return  # nothing is wrong with the clip; what is wrong was said
        if news.state != DONE:
            say_error(words)
        elif not self._bars.console.is_terminal:
            click.echo(f"{self.done} of {self.total}: {words}{'; ' if left else ''}{left}")

    def left(self) -> str:
        """'about 2 h 5 min left', as the clips so far took; '' when nothing is left or known."""
        rest = self.total - self.done
        if not self.done or not rest:
            return ""
        return f"about {duration((time.monotonic() - self._begun_s) / self.done * rest)} left"


def ended_words(news: Ended) -> str:
    """What came of one clip."""
    made = news.outcome.made
    if news.state == DONE and made:
        return f"{made.gait or 'no gait named'}; {made.grade}"
    if news.state == ASIDE:
        return f"set aside, since it ended its process twice: {news.outcome.words}"
    again = "; it is tried once more" if news.outcome.ending == "died" and news.state == WAITING else ""
    return (news.outcome.words or "its dog was removed meanwhile; nothing was kept") + again


def duration(seconds: float) -> str:
    """'2 h 5 min', '5 min' or '40 s'."""
    if seconds < 100:
        return f"{seconds:.0f} s"
    minutes = round(seconds / 60)
    return f"{minutes // 60} h {minutes % 60} min" if minutes >= 60 else f"{minutes} min"


@contextmanager
def show_night(total: int) -> Iterator[tuple[Night, Tell]]:
    """Shows a run over ``total`` clips while the block lasts."""
    console = Console(stderr=True)
    with Progress(*COLUMNS, console=console, disable=not console.is_terminal, transient=True) as bars:
        night = Night(total, bars)
        yield night, night.tell
