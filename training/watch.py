"""Looks at dogs kept from training: while a run goes on, and for its card in the end."""

import csv
from pathlib import Path
from typing import Any

import numpy as np

from pose.bydog import over_dogs
from training.checkpoint import Best, Run, averaged, final_weights, new_run, start_facts, write_weights
from training.data import Footage, Rows
from training.judge import Judged, judge, judge_both, score_knots
from training.network import KeypointNetwork
from training.settings import FitSettings
from training.sources import Sources

COLUMNS = ("step", "error_percent", "pck_5_percent", "pck_10_percent", "exchanged_pairs")
#: Landmarks of marked held-out dogs from which a calibration of the score can be learned; with fewer the curve would be
#: steps made by chance. Common practice, no source.
MOST_CERTAIN = 200


def spread_rows(rows: Rows, count: int) -> Rows:
    """At most ``count`` of ``rows`` (N,), evenly; none for 0."""
    return rows[:: max(1, -(-len(rows) // count))] if count else rows[:0]


def glance(run: Run, settings: FitSettings, sources: Sources, out: Path) -> None:
    """A line about dogs kept from training, the weights so far, and whether these are the best yet."""
    if run.step:
        write_weights(run.average, out / f"weights-{run.step}.pt")
    watched = sources.watched()
    if watched is None or not settings.judge_pictures:
        return
    rows = spread_rows(watched[1], max(1, settings.judge_pictures // 4))
    found = judge(averaged(run, settings.shape), watched[0], rows, crop=settings.crop)
    error, table = float(np.nanmean(found.off())), found.table()
    row = [run.step, round(100 * error, 3), *(table.get(name, "") for name in COLUMNS[2:])]
    with (out / "judged.csv").open("a", newline="", encoding="utf-8") as file:
        csv.writer(file, lineterminator="\n").writerow(row)
    if settings.patience:
        _weigh(run, error)


def _weigh(run: Run, error: float) -> None:
    if error < run.best.error:
        run.best = Best(error, run.step, 0, {key: value.clone() for key, value in run.average.items()})
    else:
        run.best.looks += 1


def finished(run: Run, settings: FitSettings) -> bool:
    """All steps done, or no better for as many looks as the settings have patience for."""
    return run.step >= settings.steps or 0 < settings.patience <= run.best.looks


def facts_of(run: Run, settings: FitSettings, sources: Sources) -> dict[str, Any]:
    """What the card says: settings, data, errors on dogs kept from training, and the score's calibration."""
    data = {"steps_done": run.step, **start_facts(settings), **sources.facts(settings)}
    if run.best.weights:
        data["best_step"] = run.best.step
    network = averaged(run, settings.shape, final_weights(run, settings))
    told: dict[str, Any] = {"errors": {}, "score": {}}
    if sources.drawn is not None:
        told = errors_of(network, settings, sources.drawn)
    if sources.marked is not None:
        _add_marked(told, network, settings, sources)
    return {"settings": settings.as_dict(), "data": data, **told}


def errors_of(network: KeypointNetwork, settings: FitSettings, footage: Footage) -> dict[str, Any]:
    """``errors`` on unseen dogs and the ``score``'s calibration, as the card lists them; empty without such dogs."""
    unseen = spread_rows(footage.rows(unseen=True), settings.judge_pictures)
    if not len(unseen):
        return {"errors": {}, "score": {}}
    tight, wide = judge_both(network, footage, unseen, settings.crop)
    return {
        "errors": {"drawn_unseen_dogs": tight.table(), "drawn_unseen_dogs_small": wide.table()},
        "score": score_knots(tight),
    }


def _add_marked(told: dict[str, Any], network: KeypointNetwork, settings: FitSettings, sources: Sources) -> None:
    """Errors of marked dogs kept from training, before and after, and both kinds' change with its interval."""
    before = averaged(new_run(settings, next(network.parameters()).device), settings.shape)
    told["change"] = {}
    for name, footage in zip(("marked_held_out_dogs", "drawn_unseen_dogs"), sources.footages(), strict=False):
        rows = spread_rows(footage.rows(unseen=True), settings.judge_pictures)
        if not len(rows):
            continue
        old, new = (judge(one, footage, rows, crop=settings.crop) for one in (before, network))
        told["errors"] |= {name: new.table(), f"{name}_before": old.table()}
        dogs = footage.dog[rows].cpu().numpy()
        told["change"][name] = over_dogs(100 * (new.off() - old.off()), [str(dog) for dog in dogs]).as_dict()
        if name == "marked_held_out_dogs" and _enough(new):
            told["score"] = score_knots(new)


def _enough(judged: Judged) -> bool:
    return int(np.isfinite(judged.pair_free).sum()) >= MOST_CERTAIN
