"""How far the mean of each compared measure is off in a clip that the network read: what a comparison must add.

``python -m gait.clipwise RESULTS TRUTH...`` takes every clip in RESULTS (``pawfall read ... -o RESULTS``) whose
true landmarks (``NAME.landmarks.csv``) lie in a TRUTH folder, makes a record of both tables, and prints for each
measure the scatter from clip to clip of found minus true, in the measure's unit and in % of its size.
"""

import sys
from pathlib import Path

import numpy as np

from gait.compare.compared import COMPARED, Compared
from gait.footfalls import wrap_half
from gait.nouns import GaitRecord
from gait.record import build_record
from gait.sheets.trial_sheet import read_trial
from gait.summaries import mean_of
from gait.trial import Trial
from pose.landmarks import NEAR_FORE, NEAR_HIND
from pose.table import read_table
from pose.tracks import FloatArray


def clip_mean(record: GaitRecord, row: Compared) -> float:
    """Mean of the used strides of the near paw, in the measure's unit; NaN when none has a value."""
    strides = record.strides
    paw = NEAR_FORE if row.pair == "fore" else NEAR_HIND
    values = strides.measures[row.column][strides.used & (strides.paw == paw)]
    values = values[np.isfinite(values)]
    return mean_of(row.measure, values) if len(values) else float("nan")


def pair_of(found: Path, truth: Path) -> tuple[GaitRecord, GaitRecord]:
    """Records of the landmarks in the folder ``found`` and of the true ones, under the same trial."""
    name = found.name
    sheet = truth / f"{name}.toml"
    trial = Trial(**read_trial(sheet)) if sheet.exists() else Trial()
    return (
        build_record(read_table(found / "landmarks.csv"), trial),
        build_record(read_table(truth / f"{name}.landmarks.csv"), trial),
    )


def misses(pairs: list[tuple[GaitRecord, GaitRecord]], row: Compared) -> tuple[FloatArray, float]:
    """Found minus true mean of each clip (C,), where both are known, and the usual size of the true means."""
    means = np.array([[clip_mean(record, row) for record in pair] for pair in pairs])
    means = means[np.isfinite(means).all(axis=1)]
    off = means[:, 0] - means[:, 1]
    off = off if row.measure.circle is None else wrap_half(off)
    return off, float(np.abs(means[:, 1]).mean()) if len(means) else float("nan")


def main() -> None:
    """Print the table."""
    results, truths = Path(sys.argv[1]), [Path(word) for word in sys.argv[2:]]
    pairs = [
        pair_of(folder, truth)
        for folder in sorted(results.iterdir())
        for truth in truths
        if (truth / f"{folder.name}.landmarks.csv").exists()
    ]
    sys.stdout.write(f"{'measure':24}{'clips':>6}{'mean off':>11}{'scatter':>11}{'% of size':>11}\n")
    for row in COMPARED:
        off, size = misses(pairs, row)
        if len(off) > 1:
            scatter = off.std(ddof=1)
            sys.stdout.write(
                f"{row.name:24}{len(off):6}{off.mean():+11.4f}{scatter:11.4f}{100 * scatter / size:11.1f}\n"
            )


if __name__ == "__main__":
    main()
