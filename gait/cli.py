"""The command `pawfall`. Parts that not everyone needs are loaded when they are called."""

import importlib.metadata
import sys
from pathlib import Path
from typing import Any

import click

from gait.command.caseload_group import caseload, of_caseload
from gait.command.edge import OneLineGroup, message
from gait.command.plugin import plugin
from gait.command.watch import watch

FOLDER = click.Path(path_type=Path)


def version() -> str:
    """The installed version of pawfall; it has none when run from a folder that was never installed."""
    try:
        return importlib.metadata.version("pawfall")
    except importlib.metadata.PackageNotFoundError:
        return "(not installed)"


@click.group(cls=OneLineGroup)
@click.version_option(version(), prog_name="pawfall")
def main() -> None:
    """Reads a dog's gait from side-view treadmill video without any marking."""


main.add_command(caseload)
main.add_command(plugin)
main.add_command(watch)


@main.command()
@click.argument("inputs", nargs=-1, required=True, type=FOLDER, metavar="INPUT...")
@click.option("-o", "--out", required=True, type=FOLDER, help="Folder for the results; one folder per input inside it.")
@click.option("--fps", type=float, help="Frames per second of a folder of numbered pictures.")
@click.option("--belt-speed", type=float, help="Speed of the belt in m/s.")
@click.option("--belt-kmh", type=float, help="Speed of the belt in km/h.")
@click.option("--filmed-fps", type=float, help="Rate at which the camera filmed, when the file is slow motion.")
@click.option("--facing", type=click.Choice(["auto", "left", "right"]), help="Side of the picture it walks towards.")
@click.option("--start", "start_s", type=float, help="Seconds into the file at which to begin.")
@click.option("--stop", "stop_s", type=float, help="Seconds into the file at which to end.")
@click.option(
    "--rotate", "rotate_deg", type=click.Choice(["0", "90", "180", "270"]), default="0", help="Turn clockwise, degrees."
)
@click.option("--trial", type=FOLDER, help="Trial sheet (TOML) for all inputs; else INPUT's own .toml beside it.")
@click.option("--network", type=FOLDER, help="Another network (.onnx with its card .toml beside it).")
@click.option(
    "--precision",
    type=click.Choice(["auto", "fp32", "int8"]),
    default="auto",
    show_default=True,
    help="Numbers that the network counts in: exact, or whole and faster; auto goes by the kind of processor.",
)
@click.option("--no-film", is_flag=True, help="Write no film.")
@click.option("--seed", type=int, default=0, show_default=True, help="Seed of every random draw.")
def read(inputs: tuple[Path, ...], no_film: bool, **options: Any) -> None:
    """Read films, folders of numbered pictures, or landmarks (.csv, .parquet, .json, .c3d)."""
    from gait.command.read import read_command

    options["rotate_deg"] = int(options["rotate_deg"])
    sys.exit(read_command(inputs, options | {"film": not no_film}))


@main.command()
@click.argument("source", type=FOLDER, metavar="SOURCE")
@click.argument("target", type=FOLDER, metavar="TARGET")
def convert(source: Path, target: Path) -> None:
    """Landmarks or a folder of results to another form (.csv, .parquet, .json, .c3d; events of results: .tsv)."""
    from gait.command.convert import convert_command

    sys.exit(convert_command(source, target))


@main.command()
@click.argument("folder", type=FOLDER, metavar="FOLDER")
@click.option("-o", "--out", type=FOLDER, help="The sheet to write, .csv or .xlsx; else sheet.csv in FOLDER.")
def sheet(folder: Path, out: Path | None) -> None:
    """Start a trial sheet: a spreadsheet with one row for each clip in FOLDER, to be filled in and compared."""
    from gait.command.sheet import sheet_command

    sys.exit(sheet_command(folder, out))


@main.command()
@click.argument("sheet", type=FOLDER, metavar="SHEET")
@click.option("-o", "--out", required=True, type=FOLDER, help="Folder for the results.")
@click.option("--results", multiple=True, type=FOLDER, help="Folder with results of pawfall read; may be given again.")
@click.option("--network", type=FOLDER, help="Another network (.onnx with its card .toml beside it).")
@click.option("--precision", type=click.Choice(["auto", "fp32", "int8"]), default="auto", show_default=True)
@click.option("--no-film", is_flag=True, help="Write no films of two conditions side by side.")
@click.option(
    "--slower",
    type=click.FloatRange(0.25, 100),
    default=4.0,
    show_default=True,
    help="How many times slower than life these films run.",
)
@click.option("--film-clips", is_flag=True, help="Write the film of each clip as well.")
@click.option("--seed", type=int, default=0, show_default=True, help="Seed of every random draw.")
def compare(
    sheet: Path, out: Path, results: tuple[Path, ...], network: Path | None, precision: Any, seed: int, **films: Any
) -> None:
    """Compare conditions with the baseline and visit with visit: SHEET (.csv, .xlsx, .toml, or a folder of clips with
    a .toml each) says what was filmed."""
    from gait.command.compare import compare_command
    from gait.comparison_results import ComparingSettings
    from pose.network import NetworkSettings

    settings = ComparingSettings(not films["no_film"], films["film_clips"], seed, films["slower"])
    sys.exit(compare_command(sheet, out, results, network, NetworkSettings(precision=precision), settings))


@main.command()
@click.option("-o", "--out", default="pawfall-demo", show_default=True, type=FOLDER, help="Folder for the results.")
def demo(out: Path) -> None:
    """Read the clips that come with pawfall."""
    from gait.demo import run_demo

    sys.exit(run_demo(out))


@main.command()
@click.argument("clip", type=FOLDER, metavar="CLIP")
@click.option("--network", type=FOLDER, help="Another network (.onnx with its card .toml beside it).")
@click.option("--precision", type=click.Choice(["auto", "fp32", "int8"]), default="auto", show_default=True)
@click.option("--repeat", type=click.IntRange(1), default=3, show_default=True, help="Goes; the best one counts.")
def bench(clip: Path, network: Path | None, precision: Any, repeat: int) -> None:
    """Measure how fast CLIP is read, beside what decoding and the network allow on this machine."""
    from gait.command.bench import bench_command

    sys.exit(bench_command(clip, network, precision, repeat))


@main.command()
@click.argument("inputs", nargs=-1, required=True, metavar="[NAME=]INPUT...")
@click.option("-o", "--out", required=True, type=FOLDER, help="Folder for the results.")
@click.option("--network", type=FOLDER, help="Another network (.onnx with its card .toml beside it).")
@click.option("--against", type=FOLDER, help="A second network, shown beside the first.")
@click.option("--worst", type=click.IntRange(0), default=12, show_default=True, help="Pictures to draw of each INPUT.")
def judge(inputs: tuple[str, ...], out: Path, network: Path | None, against: Path | None, worst: int) -> None:
    """Judge a network on marked pictures and on clips with truth: each INPUT is a file of marks (COCO keypoints, the
    pictures beside it) or a folder of clips with NAME.truth.json and NAME.landmarks.csv beside them."""
    from gait.command.judge import judge_command
    from gait.command.outcome import JudgeSettings

    sys.exit(judge_command(inputs, out, network, JudgeSettings(worst=worst), against))


@main.command()
@click.argument("results", nargs=-1, required=True, type=FOLDER, metavar="RESULTS...")
@click.option("-o", "--out", required=True, type=FOLDER, help="Folder for the marks; frames are added to what it has.")
@click.option("--count", type=click.IntRange(1), default=40, show_default=True, help="Frames to choose.")
@click.option("--sources", multiple=True, type=FOLDER, help="Folder with the clips that were read; may be given again.")
@click.option("--network", type=FOLDER, help="Another network (.onnx with its card .toml beside it).")
@click.option("--seed", type=int, default=0, show_default=True, help="Seed of the grouping of pictures by their looks.")
@click.option("--gap", "gap_s", type=click.FloatRange(0.001), default=0.5, show_default=True,
              help="Least seconds between two frames of a clip, as filmed.")  # fmt: skip
def pick(
    results: tuple[Path, ...],
    out: Path,
    count: int,
    sources: tuple[Path, ...],
    network: Path | None,
    seed: int,
    gap_s: float,
) -> None:
    """Choose the frames that are most worth marking from RESULTS of pawfall read."""
    from functools import partial

    from gait.command.pick import pick_command
    from training.marks.gathering import PickSettings, pick_frames
    from training.marks.picking import PickingSettings

    picker = partial(pick_frames, settings=PickSettings(count=count, seed=seed, picking=PickingSettings(gap_s=gap_s)))
    sys.exit(pick_command(picker, results, out, sources, network))


@main.command()
@click.argument("settings", type=FOLDER, metavar="[SETTINGS.toml]", required=False)
@click.option("-o", "--out", required=True, type=FOLDER, help="Folder for the checkpoint and the network.")
@click.option("--footage", type=FOLDER, help="Folder of footage, instead of the one that the settings name.")
@click.option("--marks", multiple=True, type=FOLDER, help="Marked pictures to learn from; may be given again.")
@click.option("--held-out", multiple=True, metavar="DOG", help="A dog to keep from training; may be given again.")
@click.option("--resume", is_flag=True, help="Go on from the checkpoint in the folder.")
@click.option("--stop-after", "stop_after_s", type=float, help="Seconds after which to stop with a checkpoint.")
def fit(
    settings: Path | None, out: Path, footage: Path | None, marks: tuple[Path, ...], held_out: tuple[str, ...],
    resume: bool, stop_after_s: float | None,
) -> None:  # fmt: skip
    """Train a network on footage, or teach the shipped one with marked pictures (needs the extra: pip install
    'pawfall[training]')."""
    from gait.command.fit import overrides, settings_file, step_lines
    from gait.errors import GaitError

    try:
        from training.errors import TrainingError
        from training.fit import fit as train
        from training.settings import read_settings
    except ModuleNotFoundError as error:
        raise click.ClickException(needs_training(error)) from error
    try:
        chosen = read_settings(settings_file(settings, marks), **overrides(footage, marks, held_out))
        done = train(chosen, out, resume=resume, stop_after_s=stop_after_s, progress=step_lines())
    except (TrainingError, GaitError, OSError) as error:
        raise click.ClickException(message(error)) from error
    click.echo(f"done: {out}" if done else f"stopped with a checkpoint in {out}; go on with --resume")


@main.command()
@click.argument("candidate", type=FOLDER, metavar="[CANDIDATE.onnx]", required=False)
@click.option("--better", multiple=True, metavar="[NAME=]INPUT", help="As for judge: it has to be better; also again.")
@click.option("--no-worse", multiple=True, metavar="[NAME=]INPUT", help="The same: it must not be worse; also again.")
@click.option("--back", "go_back", is_flag=True, help="Use the network before the adopted one again.")
def adopt(candidate: Path | None, better: tuple[str, ...], no_worse: tuple[str, ...], go_back: bool) -> None:
    """Use another network from now on, if it is better on dogs that it was not trained on and nowhere worse."""
    from gait.command.adopt import adopt_command

    sys.exit(adopt_command(candidate, better, no_worse, go_back))


@main.command()
@click.argument("plan", type=FOLDER, metavar="PLAN.toml")
@click.option("-o", "--out", required=True, type=FOLDER, help="Folder for the clips.")
@click.option("--only", multiple=True, metavar="NAME", help="Draw this clip of the plan alone; may be given again.")
def draw(plan: Path, out: Path, only: tuple[str, ...]) -> None:
    """Draw clips of invented dogs with exact truth (needs the extra: pip install 'pawfall[training]')."""
    from gait.command.draw import draw_all

    try:
        from training.errors import TrainingError
        from training.footage.clips import draw_clip
        from training.footage.plan import choose, read_plans
    except ModuleNotFoundError as error:
        raise click.ClickException(needs_training(error, "drawing")) from error
    try:
        draw_all(choose(read_plans(plan), only), out, draw_clip)
    except (TrainingError, OSError) as error:
        raise click.ClickException(message(error)) from error


@main.command()
@of_caseload
@click.option("--port", type=click.IntRange(0, 65535), default=8650, show_default=True, help="0 = any that is free.")
@click.option("--host", default="127.0.0.1", show_default=True, help="Another than this machine needs a password.")
@click.option("--no-browser", is_flag=True, help="Only say where the desk is.")
@click.option("--network", type=FOLDER, help="Another network (.onnx with its card .toml beside it).")
@click.option("--precision", type=click.Choice(["auto", "fp32", "int8"]), default="auto", show_default=True)
@click.option("--workers", type=click.IntRange(1), help="Clips read at a time; as many as this machine has cores.")
@click.option("--camera", multiple=True, help="Address of a camera for Live, or a film played as one; also again.")
@click.option("--set-password", is_flag=True, help="Ask for a new password, keep its hash, and end.")
@click.option("--no-password", is_flag=True, help="Take the password away, and end.")
def desk(home: Path, database: str | None, **options: Any) -> None:
    """Everything in the browser, on this machine alone: add footage, watch, compare, put right."""
    from gait.command.desk import desk_command
    from training.marks.desk import DeskMarking

    sys.exit(desk_command(home, database, DeskMarking(), options))


@main.command()
@click.argument("folder", type=FOLDER, metavar="FOLDER")
@click.option("--marker", required=True, help="Name of the person who marks: small letters, digits, - and _.")
@click.option("--port", type=click.IntRange(0, 65535), default=8640, show_default=True, help="0 = any that is free.")
@click.option("--no-browser", is_flag=True, help="Only say where the page is.")
@click.option("--blank", is_flag=True, help="Start with no landmarks, for the agreement of two people.")
@click.option("--clips", multiple=True, type=FOLDER, help="Folder in which clips lie now; may be given again.")
def mark(folder: Path, marker: str, port: int, no_browser: bool, blank: bool, clips: tuple[Path, ...]) -> None:
    """Mark the pictures of FOLDER in the browser, on this machine alone."""
    from gait.command.mark import guarded, serve_page
    from training.marks.server import HOST, build_app, listen, serve
    from training.marks.store import open_marking

    def work() -> int:
        """Serve the page until it is stopped."""
        marking = open_marking(folder, marker, blank=blank)
        opened = listen(port)
        app, address = build_app(marking, clips), f"http://{HOST}:{opened.getsockname()[1]}/"
        return serve_page(address, lambda: serve(app, opened), marking, not no_browser)

    sys.exit(guarded(work))


@main.group()
def marks() -> None:
    """Agreement of two people, checks, import and export of marks."""


@marks.command()
@click.argument("folder", type=FOLDER, metavar="FOLDER")
@click.argument("one", metavar="MARKER")
@click.argument("other", metavar="MARKER")
@click.option("-o", "--out", type=FOLDER, help="The figures as JSON.")
def agreement(folder: Path, one: str, other: str, out: Path | None) -> None:
    """How far apart two people's marks of the same pictures lie, by landmark."""
    from gait.command.mark import guarded, show_agreement
    from pose.coco import read_marks
    from training.marks.agreement import agreement as agree
    from training.marks.agreement import agreement_as_dict
    from training.marks.store import marks_path

    def work() -> int:
        """Hold the two files against each other."""
        first, second = (read_marks(marks_path(folder, name)) for name in (one, other))
        return show_agreement(agreement_as_dict(agree(first, second)), (one, other), out)

    sys.exit(guarded(work))


@marks.command()
@click.argument("file", type=FOLDER, metavar="MARKS.json")
def check(file: Path) -> None:
    """Look for bad marks before training; exit code 2 when there are any."""
    from gait.command.mark import guarded, show_faults
    from training.marks.check import check_marks

    sys.exit(guarded(lambda: show_faults(check_marks(file), file)))


@marks.command("import")
@click.argument("file", type=FOLDER, metavar="MARKS.json")
@click.argument("folder", type=FOLDER, metavar="FOLDER")
@click.option("--marker", required=True, help="Whose marks they are.")
def import_(file: Path, folder: Path, marker: str) -> None:
    """Bring COCO keypoints and the pictures beside them into FOLDER."""
    from gait.command.mark import guarded, say_done
    from training.marks.transfer import import_marks

    sys.exit(guarded(lambda: say_done(import_marks(file, folder, marker))))


@marks.command("export")
@click.argument("folder", type=FOLDER, metavar="FOLDER")
@click.argument("marker", metavar="MARKER")
@click.argument("out", type=FOLDER, metavar="OUT")
def export(folder: Path, marker: str, out: Path) -> None:
    """Copy a person's finished marks and their pictures to the new folder OUT as COCO keypoints."""
    from gait.command.mark import guarded, say_done
    from training.marks.transfer import export_marks

    sys.exit(guarded(lambda: say_done(export_marks(folder, marker, out))))


def needs_training(error: ModuleNotFoundError, task: str = "training") -> str:
    """What to do when a library of the training extra is missing."""
    return f"{task} needs {error.name}, which is not installed: pip install 'pawfall[training]'"


if __name__ == "__main__":
    sys.exit(main())
