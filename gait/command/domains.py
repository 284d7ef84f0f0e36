"""What a network is judged on: each a file of marks or a folder of clips with truth, under a name of its own."""

import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from pathlib import Path

from gait.command.change import Change, compare_errors
from gait.command.clips import judge_clips
from gait.command.outcome import JudgeSettings, Outcome
from gait.command.pictures import judge_pictures
from gait.errors import TrialError
from gait.reading import Progress
from pose.network import Network
from pose.networks import card_words


@dataclass(frozen=True, slots=True)
class Domain:
    """A kind of footage: its name and the file of marks or the folder of clips that stands for it."""

    name: str
    path: Path

    @property
    def slug(self) -> str:
        """The name in letters that any file may have."""
        return re.sub(r"[^\w.-]+", "-", self.name)


def named(words: Sequence[str | Path]) -> list[Domain]:
    """Domains from PATH or NAME=PATH; without a name that of the file or folder, with its own folder's where two are
    alike. Raises TrialError when two have the same all the same."""
    given = [_parts(str(word)) for word in words]
    plain = [name or _plain(path) for name, path in given]
    domains = [
        Domain(name or (alone if plain.count(alone) == 1 else f"{path.resolve().parent.name}/{alone}"), path)
        for (name, path), alone in zip(given, plain, strict=True)
    ]
    for number, domain in enumerate(domains):
        for other in domains[:number]:
            if domain.slug.casefold() == other.slug.casefold():
                raise TrialError(
                    f"{other.path} and {domain.path} are both called {domain.name}; give names: ONE={other.path} "
                    f"OTHER={domain.path}."
                )
    return domains


def _parts(words: str) -> tuple[str, Path]:
    """Name and path; "" = no name was given."""
    name, sign, path = words.partition("=")
    return (name.strip(), Path(path)) if sign and not Path(words).exists() else ("", Path(words))


def _plain(path: Path) -> str:
    return path.resolve().name


def judge_domain(
    domain: Domain,
    network: Network,
    settings: JudgeSettings,
    *,
    trained: Collection[str] = (),
    progress: Progress | None = None,
) -> Outcome:
    """What comes of the domain under ``network``, without dogs that were ``trained`` on: they show nothing.

    Raises PoseError or GaitError when an input cannot be used or no other dog is left.
    """
    judge = judge_clips if domain.path.is_dir() else judge_pictures
    return judge(domain.path, network, settings=settings, trained=frozenset(trained), progress=progress)


def change_of(domain: Domain, older: Outcome, newer: Outcome) -> Change:
    """What changed from one network to the other."""
    return compare_errors(domain.name, newer.whole_dogs, older.whole, newer.whole, left_out=newer.left_out)


def dogs_trained_on(network: Path) -> set[str]:
    """Names of the marked dogs that ``network`` learned from, as its card tells."""
    return set(card_words(network).get("data", {}).get("marked_dogs", []))
