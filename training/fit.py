"""The training loop. Reads top to bottom; stops and resumes to the same result."""

import json
import math
import sys
import time
from collections.abc import Callable
from pathlib import Path

import torch
from torch import Tensor

from training.augment import augment
from training.checkpoint import (
    Run,
    averaged,
    final_weights,
    frozen_parts,
    load_run,
    new_run,
    save_run,
    write_weights,
)
from training.data import Footage
from training.errors import FitError
from training.export import crops_of, export
from training.loss import facing_loss, landmark_loss
from training.settings import FitSettings, read_settings
from training.sources import Sources, load_sources
from training.style import Lending
from training.watch import COLUMNS, facts_of, finished, glance

Progress = Callable[[int, int, float], None]


def fit(
    settings: FitSettings,
    out: Path,
    *,
    resume: bool = False,
    stop_after_s: float | None = None,
    progress: Progress | None = None,
) -> bool:
    """Train in ``out`` until done (True) or out of time (False, with a checkpoint to resume from).

    With ``patience`` in the settings, done means also that dogs kept from training got no better for so many looks;
    the network is then the best of all looks, the start among them.

    ``out`` gets checkpoint.pt, log.csv, judged.csv, judged.json, weights.pt (averaged, half precision; weights-STEP.pt
    at each look at unseen dogs) and, when done, the network <name>.onnx with its card <name>.toml. The same settings
    on the same machine give the same network, in one sitting or several.

    resume        go on from the checkpoint in ``out``; without one the run starts anew
    stop_after_s  s, after which the run stops at the next line of the log; loading and judging are not counted
    progress      called with (steps done, steps in all, mean loss since the last call)
    """
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    torch.backends.cudnn.benchmark = device.type == "cuda"
    sources = load_sources(settings, device)
    out.mkdir(parents=True, exist_ok=True)
    checkpoint, marks = out / "checkpoint.pt", sources.digest()
    if resume and checkpoint.exists():
        run = load_run(checkpoint, settings, device, marks)
    else:
        run = new_run(settings, device)
        _begin_logs(out)
    _train(run, settings, sources, out, stop_after_s or math.inf, progress)
    save_run(run, settings, checkpoint, marks)
    write_weights(final_weights(run, settings), out / "weights.pt")
    facts = facts_of(run, settings, sources)
    (out / "judged.json").write_text(json.dumps(facts, indent=1) + "\n", encoding="utf-8")
    done = finished(run, settings)
    if done:
        crops = crops_of(sources, settings) if sources.marked else None
        export(averaged(run, settings.shape, final_weights(run, settings)).cpu(), facts, out, crops=crops)
    return done


def _train(
    run: Run, settings: FitSettings, sources: Sources, out: Path, stop_after_s: float, progress: Progress | None
) -> None:
    """Steps until all are done, patience is at an end, or the time is up."""
    start = time.monotonic()
    feed = sources.feed(settings, run.step)
    losses: list[Tensor] = []
    if settings.patience and not run.step:
        glance(run, settings, sources, out)
    while not finished(run, settings):
        losses.append(take_step(run, next(feed), settings))
        if settings.judge_every and run.step % settings.judge_every == 0:
            if run.step < settings.steps or settings.patience:
                glance(run, settings, sources, out)
        if run.step % settings.report_every == 0 or finished(run, settings):
            mean = float(torch.stack(losses).mean())
            losses.clear()
            _log(out / "log.csv", run.step, mean, time.monotonic() - start)
            if progress:
                progress(run.step, settings.steps, mean)
            if time.monotonic() - start > stop_after_s:
                return


def take_step(run: Run, part: Footage, settings: FitSettings) -> Tensor:
    """One step on all pictures of ``part``; moves ``run`` on and returns the loss."""
    run.network.train()
    for frozen in frozen_parts(run.network, settings.frozen):
        frozen.eval()
    rng = torch.Generator(part.xy.device)
    rng.manual_seed(settings.seed * 1_000_003 + run.step)
    batch = augment(part, rng, settings.crop, light=settings.light)
    for group in run.optimiser.param_groups:
        group["lr"] = settings.lr * group["share"] * learning_rate(settings, run.step)
    kind = part.xy.device.type
    run.network.backbone.style = Lending(settings.style, rng) if settings.style else None
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
    (out / "judged.csv").write_text(",".join(COLUMNS) + "\n", encoding="utf-8")


def _log(path: Path, step: int, loss: float, seconds: float) -> None:
    if not math.isfinite(loss):
        raise FitError(f"the loss is {loss} at step {step}; take a smaller learning rate (lr).")
    with path.open("a", encoding="utf-8") as file:
        file.write(f"{step},{loss:.4f},{seconds:.0f}\n")


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
