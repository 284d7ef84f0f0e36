"""events.tsv: what BIDS asks of it, out and in; and the command that writes it."""

import json
from pathlib import Path

import numpy as np
import pytest
from command_line import call
from generator import TROT, Scene, dog

from gait.errors import GaitError
from gait.events_table import (
    COLUMNS,
    STANCE,
    Row,
    read_events,
    rows_of_clip,
    rows_of_events,
    rows_of_results,
    write_events,
)
from gait.record import build_record
from gait.stream import GAIT_CHANGED, STRIDE, GaitStream
from gait.tables import write_record
from gait.trial import Trial
from pose.exchange import read_landmarks
from pose.table import as_written, write_table

#: s, and share, that the decimals of the tables lose.
LOST = 1e-4


@pytest.fixture(scope="module")
def results(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What ``pawfall read`` leaves of a trot that starts at 2 s, so far as it is needed."""
    folder = tmp_path_factory.mktemp("results") / "trot"
    tracks = dog(TROT, Scene(noise_bl=0.005, seconds=4.0))[0]
    tracks = as_written(type(tracks)(tracks.frame, tracks.t_s + 2.0, tracks.xy_px, tracks.score, tracks.hidden))
    write_record(build_record(tracks, Trial()), folder)
    write_table(tracks, folder / "landmarks.csv")
    return folder


def by_paw(row: Row) -> tuple[str, str, float]:
    return row.paw, row.trial_type, row.onset_s


def same(a: list[Row], b: list[Row]) -> None:
    assert len(a) == len(b) > 20
    for one, other in zip(a, b, strict=True):
        for name in ("trial_type", "paw", "gait", "dropped"):
            assert getattr(one, name) == getattr(other, name)
        for name in ("onset_s", "duration_s", "probability"):
            assert getattr(one, name) == pytest.approx(getattr(other, name), abs=LOST, nan_ok=True)


def test_rows_come_back(results: Path, tmp_path: Path) -> None:
    rows = rows_of_results(results, 2.0)
    write_events(rows, tmp_path / "trot_events.tsv")
    same(read_events(tmp_path / "trot_events.tsv"), rows)
    described = json.loads((tmp_path / "trot_events.json").read_text())
    assert tuple(described) == COLUMNS and all(entry["Description"] for entry in described.values())
    assert {row.trial_type for row in rows} <= set(described["trial_type"]["Levels"])


def test_a_record_and_its_folder_tell_the_same(results: Path) -> None:
    tracks = read_landmarks(results / "landmarks.csv")
    record = build_record(tracks, Trial())
    whole, told = rows_of_clip(record.contacts, record.strides, 2.0), rows_of_results(results, 2.0)
    same(sorted(whole, key=by_paw), sorted(told, key=by_paw))


def test_it_begins_as_bids_asks(results: Path, tmp_path: Path) -> None:
    write_events(rows_of_results(results, 2.0), tmp_path / "events.tsv")
    lines = (tmp_path / "events.tsv").read_text().splitlines()
    assert lines[0].split("\t")[:3] == ["onset", "duration", "trial_type"]
    cells = [line.split("\t") for line in lines[1:]]
    assert all(len(line) == len(COLUMNS) and "" not in line for line in cells)
    onsets = np.array([float(line[0]) for line in cells])
    assert (np.diff(onsets) >= 0).all() and 0 <= onsets[0] < 1.0
    assert all(line[1] == "n/a" or float(line[1]) >= 0 for line in cells)
    assert {line[2] for line in cells} == {STANCE, STRIDE}


def test_live_events_are_rows_as_well(tmp_path: Path) -> None:
    tracks = dog(TROT, Scene(noise_bl=0.005, seconds=4.0))[0]
    stream = GaitStream()
    rows = rows_of_events([*stream.push(tracks), *stream.finish()], 0.0)
    write_events(rows, tmp_path / "live.tsv")
    same(read_events(tmp_path / "live.tsv"), rows)
    assert {"touchdown", "liftoff", STRIDE, GAIT_CHANGED} == {row.trial_type for row in rows}
    assert all((row.duration_s > 0) == (row.trial_type == STRIDE) for row in rows)


@pytest.mark.parametrize(
    "words",
    [
        "onset,duration\n1,2\n",
        "onset\tduration\tx\nsoon\t1\t\n",
        "onset\tduration\nn/a\t1\n",
        "onset\tduration\n1\t-2\n",
    ],
    ids=["commas", "a word", "no onset", "a negative duration"],
)
def test_a_table_that_cannot_be_used_says_why(tmp_path: Path, words: str) -> None:
    (tmp_path / "events.tsv").write_text(words)
    with pytest.raises(GaitError, match=r"events\.tsv"):
        read_events(tmp_path / "events.tsv")


def test_a_table_made_elsewhere(tmp_path: Path) -> None:
    (tmp_path / "events.tsv").write_text("onset\tduration\ttrial_type\n1.5\tn/a\tbell\n2\t0\tbell\n")
    rows = read_events(tmp_path / "events.tsv")
    assert [row.onset_s for row in rows] == [1.5, 2.0] and np.isnan(rows[0].duration_s)


@pytest.mark.parametrize("name", ["trot_events.tsv", "trot.c3d", "trot.json", "trot.parquet"])
def test_the_command_converts_a_folder_of_results(results: Path, tmp_path: Path, name: str) -> None:
    done = call("convert", results, tmp_path / name)
    assert done.exit_code == 0 and name in done.output
    again = call("convert", results, tmp_path / name)
    assert again.exit_code == 2 and "there already" in again.output
    if name == "trot_events.tsv":
        same(read_events(tmp_path / name), rows_of_results(results, 2.0))
    else:
        there, back = read_landmarks(results / "landmarks.csv"), read_landmarks(tmp_path / name)
        assert np.allclose(there.xy_px, back.xy_px, atol=1e-3) and np.allclose(there.t_s, back.t_s)


def test_c3d_of_results_tells_their_contacts(results: Path, tmp_path: Path) -> None:
    ezc3d = pytest.importorskip("ezc3d")
    call("convert", results, tmp_path / "trot.c3d")
    found = ezc3d.c3d(str(tmp_path / "trot.c3d"))["parameters"]["EVENT"]
    stances = [row for row in rows_of_results(results, 2.0) if row.trial_type == STANCE]
    minutes, seconds = found["TIMES"]["value"]
    landings = np.array(found["LABELS"]["value"]) == "touchdown"
    assert np.allclose(np.sort(seconds[landings] + 60 * minutes[landings]), [row.onset_s for row in stances], atol=1e-5)


def test_landmarks_alone_hold_no_events(results: Path, tmp_path: Path) -> None:
    done = call("convert", results / "landmarks.csv", tmp_path / "events.tsv")
    assert done.exit_code == 2 and "no events" in done.output


def test_landmarks_in_any_form_are_read_as_a_table_is(results: Path, tmp_path: Path) -> None:
    call("convert", results, tmp_path / "trot.json")
    done = call("read", tmp_path / "trot.json", results / "landmarks.csv", "-o", tmp_path / "out")
    assert done.exit_code == 0, done.output
    first, second = ((tmp_path / "out" / name / "strides.csv").read_text() for name in ("trot", "landmarks"))
    assert first == second and "trot" in first
