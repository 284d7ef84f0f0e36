"""The training loop. Reads top to bottom; stops and resumes to the same result."""

import csv
import json
import math
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import torch
from torch import Tensor

from training.augment import augment
from training.checkpoint import Run, averaged, load_run, new_run, save_run, write_weights
from training.data import Footage, Rows, batches, load_footage
from training.errors import FitError
from training.export import export
from training.judge import judge, judge_both, score_knots
from training.loss import facing_loss, landmark_loss
from training.network import KeypointNetwork
from training.settings import FitSettings, read_settings

Progress = Callable[[int, int, float], None]
#: Steps between lines in the log; a run can stop after each.
REPORT_EVERY = 50


def fit(
    settings: FitSettings,
    out: Path,
    *,
    resume: bool = False,
    stop_after_s: float | None = None,
    progress: Progress | None = None,
) -> bool:
    """Train in ``out`` until done (True) or out of time (False, with a checkpoint to resume from).

    ``out`` gets checkpoint.pt, log.csv, judged.csv, judged.json, weights.pt (averaged, half precision; weights-STEP.pt
    at each look at unseen dogs) and, when done, the network <name>.onnx with its card <name>.toml. The same settings
    on the same machine give the same network, in one sitting or several.

    resume        go on from the checkpoint in ``out``; without one the run starts anew
    stop_after_s  s, after which the run stops at the next line of the log; loading and judging are not counted
    progress      called with (steps done, steps in all, mean loss since the last call)
    """
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    torch.backends.cudnn.benchmark = device.type == "cuda"
    footage = load_footage(Path(settings.footage), device, settings.limit or None)
    out.mkdir(parents=True, exist_ok=True)
    checkpoint = out / "checkpoint.pt"
    if resume and checkpoint.exists():
        run = load_run(checkpoint, settings, device)
    else:
        run = new_run(settings, device)
        _begin_logs(out)
    _train(run, settings, footage, out, stop_after_s or math.inf, progress)
    save_run(run, settings, checkpoint)
    write_weights(run.average, out / "weights.pt")
    facts = _judged(run, settings, footage)
    (out / "judged.json").write_text(json.dumps(facts, indent=1) + "\n", encoding="utf-8")
    done = run.step >= settings.steps
    if done:
        export(averaged(run, settings.shape).cpu(), facts, out)
    return done


def _train(
    run: Run, settings: FitSettings, footage: Footage, out: Path, stop_after_s: float, progress: Progress | None
) -> None:
    """Steps until all are done or the time is up."""
    start = time.monotonic()
    feed = batches(footage.rows(unseen=False), settings.batch, settings.seed, run.step)
    losses: list[Tensor] = []
    while run.step < settings.steps:
        losses.append(take_step(run, footage, next(feed), settings))
        if settings.judge_every and run.step % settings.judge_every == 0 and run.step < settings.steps:
            _glance(run, settings, footage, out)
        if run.step % REPORT_EVERY == 0 or run.step == settings.steps:
            mean = float(torch.stack(losses).mean())
            losses.clear()
            _log(out / "log.csv", run.step, mean, time.monotonic() - start)
            if progress:
                progress(run.step, settings.steps, mean)
            if time.monotonic() - start > stop_after_s:
                return


def take_step(run: Run, footage: Footage, rows: Rows, settings: FitSettings) -> Tensor:
    """One step on the pictures ``rows``; moves ``run`` on and returns the loss."""
    run.network.train()
    rng = torch.Generator(footage.xy.device)
    rng.manual_seed(settings.seed * 1_000_003 + run.step)
    batch = augment(footage.take(rows), rng, settings.crop, light=settings.light)
    for group in run.optimiser.param_groups:
        group["lr"] = settings.lr * group["share"] * learning_rate(settings, run.step)
    kind = footage.xy.device.type
    with torch.autocast(kind, dtype=torch.bfloat16, enabled=kind == "cuda"):
        heat, absent, facing = run.network(batch.picture.contiguous(memory_format=torch.channels_last))
    loss = landmark_loss(heat, absent, batch, settings.spread)
    loss = loss + settings.facing_weight * facing_loss(facing, batch)
    run.optimiser.zero_grad(set_to_none=True)
    loss.backward()  # type: ignore[no-untyped-call]
    torch.nn.utils.clip_grad_norm_(run.network.parameters(), settings.clip)
    run.optimiser.step()
    run.step += 1
    _follow(run, min(settings.ema, run.step / (10.0 + run.step)))
    return loss.detach()


def learning_rate(settings: FitSettings, step: int) -> float:
    """Share of the highest rate at ``step``: a line up, then half a cosine down to a hundredth."""
    done = step / settings.steps
    if done < settings.warm_up:
        return max(done / settings.warm_up, 0.02)
    fall = (done - settings.warm_up) / (1 - settings.warm_up)
    return 0.01 + 0.99 * 0.5 * (1 + math.cos(math.pi * fall))


@torch.no_grad()
def _follow(run: Run, keep: float) -> None:
    """Move the averaged weights a little towards the network's."""
    now = run.network.state_dict()
    names = [key for key, value in now.items() if value.is_floating_point()]
    torch._foreach_lerp_([run.average[key] for key in names], [now[key] for key in names], 1.0 - keep)


def _begin_logs(out: Path) -> None:
    (out / "log.csv").write_text("step,loss,seconds\n", encoding="utf-8")
    (out / "judged.csv").write_text("step,pck_5_percent,pck_10_percent,exchanged_pairs\n", encoding="utf-8")


def _append(path: Path, row: list[object]) -> None:
    with path.open("a", newline="", encoding="utf-8") as file:
        csv.writer(file, lineterminator="\n").writerow(row)


def _log(path: Path, step: int, loss: float, seconds: float) -> None:
    if not math.isfinite(loss):
        raise FitError(f"the loss is {loss} at step {step}; take a smaller learning rate (lr).")
    _append(path, [step, f"{loss:.4f}", f"{seconds:.0f}"])


def _unseen(settings: FitSettings, footage: Footage, share: int = 1) -> Rows:
    """Pictures of unseen dogs to judge, spread evenly over all that there are."""
    rows = footage.rows(unseen=True)
    return rows[:: max(1, -(-len(rows) * share // settings.judge_pictures))] if settings.judge_pictures else rows[:0]


def _glance(run: Run, settings: FitSettings, footage: Footage, out: Path) -> None:
    """A line about unseen dogs while training goes on, and the weights so far, for blending."""
    write_weights(run.average, out / f"weights-{run.step}.pt")
    rows = _unseen(settings, footage, share=4)
    if len(rows):
        table = judge(averaged(run, settings.shape), footage, rows, crop=settings.crop).table()
        names = ("pck_5_percent", "pck_10_percent", "exchanged_pairs")
        _append(out / "judged.csv", [run.step, *(table.get(name, "") for name in names)])


def _judged(run: Run, settings: FitSettings, footage: Footage) -> dict[str, Any]:
    """What the card says: settings, data, errors on unseen dogs, and the score's calibration."""
    data = {
        "steps_done": run.step,
        "training_pictures": len(footage.rows(unseen=False)),
        "training_dogs": footage.dogs(unseen=False),
        "unseen_dogs": footage.dogs(unseen=True),
        "footage_sha256": footage.digest(),
    }
    return {"settings": settings.as_dict(), "data": data, **errors_of(averaged(run, settings.shape), settings, footage)}


def errors_of(network: KeypointNetwork, settings: FitSettings, footage: Footage) -> dict[str, Any]:
    """``errors`` on unseen dogs and the ``score``'s calibration, as the card lists them; empty without such dogs."""
    unseen = _unseen(settings, footage)
    if not len(unseen):
        return {"errors": {}, "score": {}}
    tight, wide = judge_both(network, footage, unseen, settings.crop)
    return {
        "errors": {"drawn_unseen_dogs": tight.table(), "drawn_unseen_dogs_small": wide.table()},
        "score": score_knots(tight),
    }


def main() -> None:
    """``python -m training.fit SETTINGS.toml OUT [--footage DIR] [--resume] [--stop-after-s S]``."""
    import argparse

    parser = argparse.ArgumentParser(prog="training.fit")
    parser.add_argument("settings", type=Path)
    parser.add_argument("out", type=Path)
    parser.add_argument("--resume", action="store_true")
    parser.add_argument("--stop-after-s", type=float)
    parser.add_argument("--footage")
    given = parser.parse_args()
    settings = read_settings(given.settings, **({"footage": given.footage} if given.footage else {}))
    start = time.monotonic()

    def say(step: int, steps: int, loss: float) -> None:
        """A line of progress."""
        sys.stdout.write(f"step {step} of {steps}  loss {loss:.3f}  {time.monotonic() - start:.0f} s\n")
        sys.stdout.flush()

    done = fit(settings, given.out, resume=given.resume, stop_after_s=given.stop_after_s, progress=say)
    sys.stdout.write("done\n" if done else "stopped; go on with --resume\n")


if __name__ == "__main__":
    main()
