"""`pawfall bench`: how fast a clip is read on this machine, beside what decoding and the network allow."""

import tempfile
from pathlib import Path

import click

from gait.command.edge import EXPECTED, exit_code, message, say_error
from gait.reading import ReadingSettings, read_to_folder
from gait.trial import Trial
from pose.benchmark import Rate, Rates, best, measure, rate
from pose.clip import Clip, open_clip
from pose.network import Network, NetworkSettings, Precision
from pose.networks import current_network


def bench_command(clip: Path, network: Path | None, precision: Precision, repeat: int) -> int:
    """Measure and print; returns the exit code."""
    try:
        loaded = Network.load(network or current_network(), NetworkSettings(precision=precision))
        opened = open_clip(clip)
        rates = measure(opened, loaded, repeat=repeat)
        reading = best([rate(lambda: _read(opened, loaded)) for _ in range(repeat)])
    except EXPECTED as error:
        say_error(message(error))
        return exit_code(error)
    size = f"{opened.width}x{opened.height} px, {opened.fps:g} frames per second, {opened.frame_count} frames"
    click.echo(f"{clip.name}: {size}; {loaded.name} {loaded.precision} on {loaded.provider}; best of {repeat}")
    click.echo(table(rates, reading, opened.fps))
    return 0


def _read(clip: Clip, network: Network) -> int:
    """Everything that reading one clip does, without the film; returns its number of frames."""
    with tempfile.TemporaryDirectory() as folder:
        trial, settings = Trial(clip=clip.name), ReadingSettings(film=False)
        read_to_folder(clip.path, Path(folder) / "out", trial, network=network, settings=settings)
    return clip.frame_count


def table(rates: Rates, reading: Rate, clip_fps: float) -> str:
    """The four figures side by side, as rates and as shares of what decoding and the network allow together."""
    figures = {
        "decode alone": rates.decode,
        "network alone": rates.network,
        "both at once": rates.both,
        "whole reading": reading,
    }
    alone_ms = rates.decode.cpu_ms + rates.network.cpu_ms
    rows = (
        ("", *figures),
        ("frames per second", *(f"{one.fps:.1f}" for one in figures.values())),
        ("times real time", *(f"{one.fps / clip_fps:.2f}" for one in figures.values())),
        ("share of both at once", *(f"{100 * one.fps / rates.both.fps:.0f} %" for one in figures.values())),
        ("processor ms a frame", *(f"{one.cpu_ms:.1f}" for one in figures.values())),
        ("decode + network, share", *(f"{100 * alone_ms / one.cpu_ms:.0f} %" for one in figures.values())),
    )
    return "\n".join(f"{name:<24}" + "".join(f"{cell:>15}" for cell in cells) for name, *cells in rows)
