"""`pawfall judge`: how well a network, or two side by side, reads marked pictures and clips with truth."""

import csv
import json
import math
import os
import shutil
from collections.abc import Collection, Sequence
from dataclasses import asdict
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any, Final

from gait.command.domains import Domain, change_of, dogs_trained_on, judge_domain, named
from gait.command.edge import EXPECTED, OUR_FAULT, exit_code, fault, message, say_error
from gait.command.outcome import (
    PICTURES,
    PREDICTION_COLUMNS,
    JudgeSettings,
    Outcome,
    domain_facts,
    side_facts,
    worst_rows,
)
from gait.command.pictures import FACING
from gait.command.show import progress_bar
from gait.command.show_judged import show_judged
from gait.placing import check_place, partial_of, put_in_place
from gait.report.judging import judging_page
from pose.beside import draw_beside, write_picture
from pose.judging import JudgingSettings
from pose.network import Network
from pose.networks import current_network

DEFAULTS: Final = JudgeSettings()
RESULTS: Final = ("predictions.csv", "judged.json", "judged.html", "worst")

Judgement = tuple[Domain, Outcome, dict[str, Any]]


def judge_command(
    inputs: Sequence[str | Path],
    out: Path,
    network: Path | None,
    settings: JudgeSettings = DEFAULTS,
    against: Path | None = None,
) -> int:
    """Judge the network on every input, beside the one ``against`` which it is held, and leave the results in ``out``;
    returns the exit code.

    inputs  files of marks and folders of clips with truth, PATH or NAME=PATH
    """
    out = out.resolve()
    try:
        domains = named(inputs)
        check_place(out, "judged.json", "judgement")
        check_writable(out)
        paths = [network or current_network(), *([against] if against else [])]
        used, *others = [Network.load(path) for path in paths]
        trained = set[str]().union(*(dogs_trained_on(path) for path in paths))
        done = [(domain, *_judge(domain, [used, *others], trained, settings)) for domain in domains]
        facts = {**network_facts(used), "settings": asdict(settings), "domains": [told for _, _, told in done]}
        if others:
            facts["against"] = network_facts(others[0])
        write_results(done, facts, out, settings)
    except EXPECTED as error:
        say_error(message(error))
        return exit_code(error)
    except Exception as error:
        say_error(f"{' '.join(map(str, inputs))}: {fault(error)}")
        return OUR_FAULT
    show_judged(facts, out)
    return 0


def _judge(
    domain: Domain, networks: Sequence[Network], trained: Collection[str], settings: JudgeSettings
) -> tuple[Outcome, dict[str, Any]]:
    """One domain under one network or two, without the dogs that either was trained on."""
    with progress_bar(domain.name) as report:
        outcome, *beside = [
            judge_domain(domain, network, settings, trained=trained, progress=report) for network in networks
        ]
    facts = {"name": domain.name, **domain_facts(outcome, settings)}
    for other in beside:
        facts["against"] = side_facts(other, settings)
        facts["change"] = change_of(domain, other, outcome).as_dict()
    return outcome, facts


def network_facts(network: Network) -> dict[str, Any]:
    """Which network, run in which numbers, and which version of the tool the figures belong to."""
    try:
        own = version("pawfall")
    except PackageNotFoundError:
        own = "unpacked"
    told = {"network": network.name, "network_hash": network.sha256, "precision_of_numbers": network.precision}
    return told | {"versions": {"pawfall": own}}


def check_writable(out: Path) -> None:
    """Raise OSError when nothing can be written beside ``out``, before hours of reading rather than after."""
    out.parent.mkdir(parents=True, exist_ok=True)
    trace = out.with_name(f".{out.name}.writable-{os.getpid()}")
    try:
        trace.touch()
    finally:
        trace.unlink(missing_ok=True)


def write_results(done: Sequence[Judgement], facts: dict[str, Any], out: Path, settings: JudgeSettings) -> None:
    """Write every result beside ``out`` and put it in its place when all is done."""
    partial = partial_of(out)
    shutil.rmtree(partial, ignore_errors=True)
    try:
        (partial / "worst").mkdir(parents=True)
        _write_predictions(done, partial / "predictions.csv")
        words = json.dumps(facts, indent=1, allow_nan=False)
        (partial / "judged.json").write_text(words + "\n", encoding="utf-8")
        worst = []
        for domain, outcome, _ in done:
            folder = partial / "worst" / domain.slug
            _draw_worst(outcome, folder, settings)
            worst.append([f"worst/{domain.slug}/{path.name}" for path in sorted(folder.iterdir())])
        (partial / "judged.html").write_text(judging_page(facts, worst), encoding="utf-8")
        put_in_place(partial, out, RESULTS)
    finally:
        shutil.rmtree(partial, ignore_errors=True)


def _write_predictions(done: Sequence[Judgement], path: Path) -> None:
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(PREDICTION_COLUMNS)
        for domain, outcome, _ in done:
            writer.writerows([domain.name, *row] for row in outcome.rows())


def _draw_worst(outcome: Outcome, folder: Path, settings: JudgeSettings) -> None:
    folder.mkdir()
    rows = worst_rows(outcome, settings)
    digits = max(2, len(str(len(rows))))
    for place, row in enumerate(rows, start=1):
        name = Path(outcome.titles[row])
        stem = name.stem if outcome.kind == PICTURES else name.name.replace(" ", "-")
        _draw(outcome, int(row), folder / f"{place:0{digits}}_{stem}.png", settings.judging)


def _draw(outcome: Outcome, row: int, path: Path, settings: JudgingSettings) -> None:
    answers, errors = outcome.judged.answers, outcome.judged.error[row]
    marked, found = (FACING.get(float(side[row])) for side in (answers.marked_facing, answers.found_facing))
    right, known = int((errors <= settings.found_within).sum()), sum(not math.isnan(error) for error in errors)
    title = f"{outcome.titles[row]}: {right} of {known} within {settings.found_within:.0%} of withers-croup length; "
    title += f"faces {marked or '?'}, found {found or 'no dog'}"
    notes = tuple(_note(float(error)) for error in errors)
    picture = outcome.picture(row)
    write_picture(draw_beside(picture, answers.found_px[row], answers.marked_px[row], title=title, notes=notes), path)


def _note(error: float) -> str:
    if math.isnan(error):
        return "not marked"
    return "not found" if math.isinf(error) else f"{100 * error:.0f} % off"
