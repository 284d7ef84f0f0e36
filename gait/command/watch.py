"""`pawfall watch`: a camera read live in the terminal, and recorded."""

import sys
import time
from pathlib import Path
from typing import Any

import click

#: s between two looks at what is known.
EVERY_S = 0.2


@click.command()
@click.argument("camera", required=False, metavar="[CAMERA]")
@click.option(
    "-o", "--out", type=click.Path(path_type=Path), default="recordings", show_default=True,
    help="Folder for the recorded clip and its trial sheet.",
)  # fmt: skip
@click.option("--belt-speed", type=float, help="Speed of the belt in m/s.")
@click.option("--belt-kmh", type=float, help="Speed of the belt in km/h.")
@click.option("--facing", type=click.Choice(["auto", "left", "right"]), help="Side of the picture it walks towards.")
@click.option("--dog", default="", help="Name or number of the dog, for the trial sheet.")
@click.option("--condition", default="", help="Bare, boots, ..., for the trial sheet.")
@click.option("--network", type=click.Path(path_type=Path), help="Another network (.onnx with its card beside it).")
@click.option("--precision", type=click.Choice(["auto", "fp32", "int8"]), default="auto", show_default=True)
@click.option("--seconds", type=click.FloatRange(0.1), help="End by itself after so long.")
@click.option("--no-record", is_flag=True, help="Keep no film.")
def watch(camera: str | None, **options: Any) -> None:
    """Read a camera live: gait, topline and place on the belt while the dog walks, and record it. CAMERA is a camera of
    this machine, the address of a stream, or a film that is played as a camera; without it, cameras are listed."""
    from gait.command.mark import guarded

    sys.exit(guarded(lambda: _watch(camera, options) if camera else _list()))


def _list() -> int:
    """Say which cameras there are."""
    from gait.command.edge import NOTHING_TO_SAY
    from pose.camera import cameras

    found = cameras()
    for name, words in found:
        click.echo(f"{name}   {words}")
    if not found:
        click.echo("No camera is found on this machine. Plug one in, or give the address of a stream (rtsp://...).")
    return 0 if found else NOTHING_TO_SAY


def _watch(camera: str, options: dict[str, Any]) -> int:
    """Watch until stopped; returns the exit code."""
    from gait.command.read import trial_flags
    from gait.live import LiveReading
    from gait.trial import Trial
    from gait.watch import Watch, start_recording
    from pose.camera import open_camera
    from pose.network import Network, NetworkSettings
    from pose.networks import current_network

    flags = trial_flags(options["belt_speed"], options["belt_kmh"], None, options["facing"])
    trial = Trial(dog=options["dog"], condition=options["condition"], **flags)
    running = NetworkSettings(precision=options["precision"])
    network = Network.load(options["network"] or current_network(), running)
    opened = open_camera(camera, films=True)
    recorder = None if options["no_record"] else start_recording(options["out"], trial, opened.name)
    watched = Watch(opened, LiveReading(network, trial), recorder)
    click.echo(f"{opened.name}: Ctrl+C ends. Someone stays at the stop button; stop at distress; never tie a lead.")
    try:
        _show(watched, options["seconds"])
    except KeyboardInterrupt:
        click.echo()
    return _tell_end(watched)


def _show(watched: Any, seconds: float | None) -> None:
    """One line that changes where someone watches, and a line that stays for each change of gait."""
    from rich.console import Console
    from rich.live import Live

    from gait.livewords import gait_words, place_words, topline_words

    console, told = Console(), 0
    until_s = time.monotonic() + seconds if seconds else float("inf")
    with Live(console=console, auto_refresh=False, transient=True) as line:
        while watched.running and time.monotonic() < until_s:
            watched.wait(EVERY_S)
            told = _tell_new(watched, told, console)
            now = watched.reading.now
            words = " · ".join(filter(None, [*gait_words(now), *topline_words(now), place_words(now)]))
            if console.is_terminal:
                mark = "● " if watched.recorder else ""
                line.update(f"{mark}{now.t_s:6.1f} s   {words}   {now.latency_ms:.0f} ms", refresh=True)


def _tell_new(watched: Any, told: int, console: Any) -> int:
    """Say the changes of gait from number ``told`` on; returns how many there are."""
    said = watched.reading.said
    for one in said[told:]:
        console.print(one.words, highlight=False, markup=False)
    return len(said)


def _tell_end(watched: Any) -> int:
    """End everything and say what there is; returns the exit code."""
    from rich.console import Console

    from gait.command.edge import CANNOT_USE, NOTHING_TO_SAY, say_error
    from gait.livewords import latency_words

    before = len(watched.reading.said)
    left, reading = watched.end(), watched.reading
    _tell_new(watched, before, Console())
    dropped = f"; {reading.dropped} left out, as they came faster than they were read" if reading.dropped else ""
    click.echo(f"{latency_words(reading.latency)}{dropped}")
    for words in (watched.camera.ending, left.failed, reading.failed):
        if words:
            click.echo(words)
    if left.lost:
        say_error(f"{left.lost} pictures of {watched.pictures} could not be recorded.")
    if left.path is not None:
        click.echo(f"recorded: {left.path} ({left.pictures} pictures)\nread it: pawfall read {left.path} -o results")
    if not watched.pictures:
        return NOTHING_TO_SAY
    return CANNOT_USE if left.failed or reading.failed else 0
