"""`pawfall read`: clips and landmark tables to folders of results."""

import os
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import click

from gait.command.edge import CANNOT_USE, EXPECTED, OUR_FAULT, exit_code, fault, message, say_error
from gait.command.show import progress_bar, show_reading
from gait.reading import ReadingSettings, folder_names, is_table, plain_name, read_to_folder
from gait.sheets.keys import PICTURE_KEY, belt_speed
from gait.sheets.trial_sheet import read_trial
from gait.trial import Trial
from pose.network import Network, NetworkSettings
from pose.networks import current_network

DEFAULTS = ReadingSettings()


@dataclass(frozen=True, slots=True)
class Request:
    """What was asked for all inputs of one call.

    flags  fields of Trial that were given as flags; they come before what a sheet says
    sheet  trial sheet for all inputs; None = the one beside each input, if there is one
    running  how the network is run
    """

    out: Path
    flags: dict[str, Any] = field(default_factory=dict)
    sheet: Path | None = None
    network: Path | None = None
    running: NetworkSettings = field(default_factory=NetworkSettings)
    settings: ReadingSettings = DEFAULTS


def run(inputs: list[Path], request: Request) -> int:
    """Read every input; returns the worst exit code. One that fails does not stop the others."""
    try:
        make_writable(request.out)
        network = _network(inputs, request)
    except EXPECTED as error:
        say_error(message(error))
        return exit_code(error)
    folders = name_folders(inputs, request.out)
    return max([read_one(source, folder, request, network) for source, folder in zip(inputs, folders, strict=True)])


def read_one(source: Path, folder: Path, request: Request, network: Network | None) -> int:
    """Read one input and say what came of it; returns its exit code."""
    try:
        trial, settings = asked(source, request)
        with progress_bar(source.name) as report:
            reading = read_to_folder(source, folder, trial, network=network, settings=settings, progress=report)
    except EXPECTED as error:
        words = message(error)
        say_error(words if source.name in words else f"{source.name}: {words}")
        return exit_code(error)
    except Exception as error:  # one clip that shows a fault of ours must not stop a night of others
        say_error(f"{source.name}: {fault(error)}")
        return OUR_FAULT
    show_reading(reading)
    return 0


def asked(source: Path, request: Request) -> tuple[Trial, ReadingSettings]:
    """The trial of one input and how to read it: what its sheet says, overruled by flags."""
    beside = source.resolve().with_suffix(".toml")
    sheet = request.sheet or (beside if beside.is_file() else None)
    told: dict[str, Any] = {"clip": plain_name(source)} | (read_trial(sheet) if sheet else {})
    if sheet and not request.sheet:
        click.echo(f"{source.name}: trial sheet {sheet.name} found beside it")
    fps = told.pop(PICTURE_KEY, None)
    settings = request.settings
    return Trial(**(told | request.flags)), replace(settings, fps=fps) if settings.fps is None else settings


def name_folders(inputs: list[Path], out: Path) -> list[Path]:
    """A folder under ``out`` per input, named after it; where another had that name first, it is said."""
    names = folder_names(inputs)
    for source, name in zip(inputs, names, strict=True):
        stem = plain_name(source)
        if name != stem:
            first = next(other for other in inputs if plain_name(other).casefold() == stem.casefold())
            click.echo(f"{source}: its name is taken by {first}; results go to {out / name}")
    return [out / name for name in names]


def make_writable(out: Path) -> None:
    """Create ``out`` and try to write in it, before any time is spent on reading."""
    trace = out / f".writable-{os.getpid()}"
    out.mkdir(parents=True, exist_ok=True)
    try:
        trace.touch()
    finally:
        trace.unlink(missing_ok=True)


def _network(inputs: list[Path], request: Request) -> Network | None:
    """The network, loaded once; none when nothing but tables is to be read."""
    needed = any(not is_table(source) and source.exists() for source in inputs)
    return Network.load(request.network or current_network(), request.running) if needed else None


def trial_flags(
    belt_m_s: float | None, belt_kmh: float | None, filmed_fps: float | None, facing: str | None
) -> dict[str, Any]:
    """The fields of Trial that flags give; 'auto' clears what a sheet says about facing."""
    given = {"belt_m_s": belt_speed(belt_m_s, belt_kmh), "filmed_fps": filmed_fps}
    flags: dict[str, Any] = {key: value for key, value in given.items() if value is not None}
    return flags if facing is None else flags | {"facing": None if facing == "auto" else facing}


def read_command(inputs: tuple[Path, ...], options: dict[str, Any]) -> int:
    """Turn the words of the command line into a request and run it; returns the exit code."""
    try:
        flags = trial_flags(*(options.pop(key) for key in ("belt_speed", "belt_kmh", "filmed_fps", "facing")))
        Trial(**flags)
    except EXPECTED as error:
        say_error(message(error))
        return CANNOT_USE
    out, sheet, network = (options.pop(key) for key in ("out", "trial", "network"))
    running = NetworkSettings(precision=options.pop("precision", "auto"))
    return run(list(inputs), Request(out, flags, sheet, network, running, replace(DEFAULTS, **options)))
