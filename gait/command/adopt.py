"""`pawfall adopt`: a network takes over only where it is shown to be better, and nowhere worse."""

import datetime
import math
from collections.abc import Collection, Sequence
from pathlib import Path
from typing import Any

import click

from gait.command.change import Change, change_words
from gait.command.domains import Domain, change_of, dogs_trained_on, judge_domain, named
from gait.command.edge import EXPECTED, NOTHING_TO_SAY, exit_code, message, say_error
from gait.command.outcome import JudgeSettings
from gait.command.show import progress_bar
from gait.reading import Progress
from pose.bydog import OverDogs
from pose.errors import NetworkError
from pose.network import Network
from pose.networks import adopt, back, came_from, card_words, current_network, networks_folder

#: How the card calls what a training run measured on drawn dogs that it had not seen.
DRAWN = "drawn_unseen_dogs"


def adopt_command(candidate: Path | None, better: Sequence[str], no_worse: Sequence[str], go_back: bool) -> int:
    """Put ``candidate`` to the gate and take it over, or go back to the network before; returns the exit code.

    better    the domain that it was trained for, marks or clips with truth: it has to be better there
    no_worse  other domains: it must not be worse there
    """
    try:
        if go_back:
            click.echo(f"in use again: {back(networks_folder())}")
            return 0
        if candidate is None or not better:
            raise NetworkError("Give CANDIDATE.onnx and --better MARKS.json with dogs that it was not trained on.")
        return _gate(candidate, better, no_worse)
    except EXPECTED as error:
        say_error(message(error))
        return exit_code(error)


def _gate(candidate: Path, better: Sequence[str], no_worse: Sequence[str]) -> int:
    domains = named([*better, *no_worse])
    old, new = current_network(), candidate.resolve()
    older, newer = Network.load(old), Network.load(new)
    if newer.card.sha256 == older.card.sha256:
        raise NetworkError(f"{candidate.name} is the network in use already.")
    trained = dogs_trained_on(new)
    with progress_bar(candidate.name) as report:
        changes = [judge_change(domain, older, newer, trained, report) for domain in domains]
    wanted, others = changes[: len(better)], changes[len(better) :] + drawn_change(new, old)
    for change in [*wanted, *others]:
        click.echo(change_words(change))
    failed = failures(wanted, others)
    if failed:
        say_error(f"{newer.name} is not adopted: {'; '.join(failed)}. {older.name} stays in use.")
        return NOTHING_TO_SAY
    notes: dict[str, Any] = {
        "adopted_at": datetime.datetime.now(datetime.UTC).isoformat(timespec="seconds"),
        "instead_of": {"name": older.name, "sha256": older.card.sha256},
        "better": [change.as_dict() for change in wanted],
        "no_worse": [change.as_dict() for change in others],
    }
    place = adopt(new, notes, networks_folder())
    click.echo(f"{newer.name} is in use now: {place}\n  back to {older.name}: pawfall adopt --back")
    return 0


def judge_change(
    domain: Domain, older: Network, newer: Network, trained: Collection[str] = (), progress: Progress | None = None
) -> Change:
    """Both networks on the domain; dogs that are ``trained`` on are left out."""
    old, new = (
        judge_domain(domain, one, JudgeSettings(), trained=trained, progress=progress) for one in (older, newer)
    )
    return change_of(domain, old, new)


def failures(wanted: list[Change], others: list[Change]) -> list[str]:
    """What speaks against the newer network, with numbers; nothing = it may take over."""
    found = []
    for domain in wanted:
        if not domain.change.certain:
            count = domain.change.dogs
            found.append(f"{domain.name} shows {count} dogs that it was not trained on, too few to tell (3 at least)")
        elif not domain.better:
            found.append(f"not shown to be better in {_numbers(domain)}")
    return found + [f"worse in {_numbers(domain)}" for domain in others if domain.worse]


def _numbers(domain: Change) -> str:
    change = domain.change
    span = f", {change.low:+.1f} to {change.high:+.1f}" if change.certain else ", too few dogs for an interval"
    return f"{domain.name} (change {change.mean:+.1f} % of body length{span})"


def drawn_change(new: Path, old: Path) -> list[Change]:
    """What the candidate's card says of drawn dogs, when its training measured it against the network in use."""
    card = card_words(new)
    told = card.get("change", {}).get(DRAWN)
    if told is None or not came_from(new, old):
        click.echo("drawn dogs: nothing on the card that could be held against the network in use")
        return []
    shown, nan = (told["dogs"], told["pictures"]), math.nan
    before, after = (
        OverDogs(card["errors"][name]["mean_error_percent"], nan, nan, *shown) for name in (f"{DRAWN}_before", DRAWN)
    )
    change = OverDogs(told["mean"], told.get("low", nan), told.get("high", nan), *shown)
    return [Change("drawn unseen dogs (card)", before, after, change)]
