"""`pawfall convert`: landmarks and events in the forms of other programs."""

from pathlib import Path

import click

from gait.command.edge import CANNOT_USE, EXPECTED, message, say_error
from gait.errors import GaitError
from gait.events_table import STANCE, Row, rows_of_results, write_events
from pose.c3d import write_c3d
from pose.exchange import read_landmarks, write_landmarks
from pose.tracks import Tracks

EVENTS, C3D = ".tsv", ".c3d"


def convert_command(source: Path, target: Path) -> int:
    """Convert and say what was written; returns the exit code."""
    try:
        if target.exists():
            raise GaitError(f"{target} is there already and stays as it is; give another name, or move it away.")
        click.echo(_converted(source, target))
    except EXPECTED as error:
        say_error(message(error))
        return CANNOT_USE
    return 0


def _converted(source: Path, target: Path) -> str:
    """Do it; what there is to say of it."""
    results = source.is_dir()
    tracks = read_landmarks(source / "landmarks.csv" if results else source)
    rows = rows_of_results(source, float(tracks.t_s[0])) if results else []
    if target.suffix.lower() == EVENTS:
        if not results:
            raise GaitError(f"{source.name} holds landmarks and no events; give a folder that pawfall read left.")
        write_events(rows, target)
        return f"{target}: {len(rows)} events"
    if target.suffix.lower() == C3D:
        write_c3d(tracks, target, events=_moments(rows, tracks))
    else:
        write_landmarks(tracks, target)
    return f"{target}: {len(tracks)} frames"


def _moments(rows: list[Row], tracks: Tracks) -> list[tuple[float, str, str]]:
    """Touchdowns and lift-offs of the stances, on the clock of the tracks."""
    start_s = float(tracks.t_s[0])
    stances = [row for row in rows if row.trial_type == STANCE]
    moments = [(start_s + row.onset_s, row.paw, "touchdown") for row in stances]
    moments += [(start_s + row.onset_s + row.duration_s, row.paw, "liftoff") for row in stances]
    return sorted(moment for moment in moments if moment[0] == moment[0])
