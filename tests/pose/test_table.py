"""Landmark tables: there and back, foreign tables, and every fault by its row and column."""

from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pose.errors import TableError
from pose.landmarks import LANDMARKS
from pose.table import COLUMNS, as_written, read_table, write_table
from pose.tracks import Tracks

HALF_PLACE_PX = 0.0005 + 1e-9
HALF_SCORE = 0.00005 + 1e-9
HALF_TICK_S = 0.0000005 + 1e-12


def some_tracks(count: int = 12, seed: int = 5) -> Tracks:
    rng = np.random.default_rng(seed)
    xy = rng.uniform(0, 1920, (count, 6, 2))
    xy[2, 3] = xy[3, :] = np.nan
    score = rng.uniform(0, 1, (count, 6))
    score[2, 3] = np.nan
    side = rng.uniform(0, 1, (count, 2))
    side[4] = np.nan
    times = np.cumsum(rng.uniform(0.004, 0.05, count))
    return Tracks(np.arange(count) * 2 + 7, times, xy, score, rng.uniform(size=(count, 6)) < 0.3, side)


def assert_same(one: Tracks, other: Tracks) -> None:
    np.testing.assert_array_equal(one.frame, other.frame)
    np.testing.assert_array_equal(one.hidden, other.hidden)
    np.testing.assert_allclose(one.t_s, other.t_s, atol=HALF_TICK_S, rtol=0)
    np.testing.assert_allclose(one.xy_px, other.xy_px, atol=HALF_PLACE_PX, rtol=0)
    np.testing.assert_allclose(one.score, other.score, atol=HALF_SCORE, rtol=0)
    np.testing.assert_allclose(one.side_score, other.side_score, atol=HALF_SCORE, rtol=0)


@pytest.mark.parametrize("ending", [".csv", ".parquet"])
def test_there_and_back(tmp_path: Path, ending: str) -> None:
    path = tmp_path / f"landmarks{ending}"
    write_table(some_tracks(), path)
    assert_same(read_table(path), some_tracks())


@pytest.mark.parametrize("ending", [".csv", ".parquet"])
def test_rounding_as_written_foretells_what_comes_back(tmp_path: Path, ending: str) -> None:
    path = tmp_path / f"landmarks{ending}"
    tracks = some_tracks(400)
    write_table(tracks, path)
    back = read_table(path)
    for name in ("frame", "t_s", "xy_px", "score", "hidden", "side_score"):
        np.testing.assert_array_equal(getattr(back, name), getattr(as_written(tracks), name), name)


@pytest.mark.parametrize("ending", [".csv", ".parquet"])
def test_a_second_round_changes_nothing(tmp_path: Path, ending: str) -> None:
    first, second = tmp_path / f"first{ending}", tmp_path / f"second{ending}"
    write_table(some_tracks(), first)
    write_table(read_table(first), second)
    assert first.read_bytes() == second.read_bytes()


@settings(max_examples=25, deadline=None)
@given(st.integers(1, 5), st.integers(0, 2**32 - 1), st.floats(0, 1e5))
def test_any_tracks_survive(tmp_path_factory: pytest.TempPathFactory, count: int, seed: int, offset_s: float) -> None:
    rng = np.random.default_rng(seed)
    xy = np.where(rng.uniform(size=(count, 6, 1)) < 0.2, np.nan, rng.normal(0, 3000, (count, 6, 2)))
    xy[0, 0] = 1.0
    times = np.round(offset_s + np.arange(count) / 60, 6)
    tracks = Tracks(np.arange(count), times, xy, rng.uniform(size=(count, 6)), rng.uniform(size=(count, 6)) < 0.5)
    path = tmp_path_factory.mktemp("table") / "landmarks.csv"
    write_table(tracks, path)
    assert_same(read_table(path), tracks)


def test_the_written_form(tmp_path: Path) -> None:
    write_table(some_tracks(), tmp_path / "landmarks.csv")
    lines = (tmp_path / "landmarks.csv").read_text().splitlines()
    assert lines[0] == "frame,time_s,landmark,x_px,y_px,score,hidden,side_score"
    assert len(lines) == 1 + 12 * 6
    cells = [line.split(",") for line in lines[1:]]
    assert [cell[2] for cell in cells[:6]] == list(LANDMARKS)
    assert all(cell[7] == "" for cell in cells if cell[2] in ("withers", "croup"))
    missing = next(cell for cell in cells if cell[0] == "11" and cell[2] == "far_hind")
    assert missing[3:6] == ["", "", ""]
    assert len(cells[0][1].split(".")[1]) == 6
    assert [len(cells[0][column].split(".")[1]) for column in (3, 4, 5, 7)] == [3, 3, 4, 4]
    assert "nan" not in "".join(lines).lower()


def rows(count: int = 3) -> list[dict[str, str]]:
    return [
        {"frame": str(frame), "time_s": f"{frame / 50}", "landmark": name, "x_px": f"{100 + 10 * mark}", "y_px": "200",
         "score": "0.9", "hidden": "0", "side_score": "" if mark > 3 else "0.8"}
        for frame in range(count) for mark, name in enumerate(LANDMARKS)
    ]  # fmt: skip


def put(path: Path, table: list[dict[str, str]], columns: tuple[str, ...] = COLUMNS) -> Path:
    lines = [",".join(columns)] + [",".join(row[name] for name in columns) for row in table]
    path.write_text("\n".join(lines) + "\n")
    return path


def test_only_the_needed_columns(tmp_path: Path) -> None:
    tracks = read_table(put(tmp_path / "t.csv", rows(), COLUMNS[:5]))
    assert np.isnan(tracks.score).all()
    assert np.isnan(tracks.side_score).all()
    assert not tracks.hidden.any()
    assert tracks.xy_px[1, 2].tolist() == [120, 200]


def test_rows_in_any_order_and_columns_too(tmp_path: Path) -> None:
    mixed = [rows(5)[place] for place in np.random.default_rng(1).permutation(30)]
    one = read_table(put(tmp_path / "a.csv", rows(5)))
    other = read_table(put(tmp_path / "b.csv", mixed, COLUMNS[::-1]))
    assert_same(one, other)


def test_a_landmark_without_a_row_is_missing(tmp_path: Path) -> None:
    kept = [row for row in rows() if not (row["frame"] == "1" and row["landmark"] == "croup")]
    tracks = read_table(put(tmp_path / "t.csv", kept))
    assert np.isnan(tracks.xy_px[1, 5]).all()
    assert np.isfinite(tracks.xy_px[[0, 2], 5]).all()


def test_half_a_place_is_no_place(tmp_path: Path) -> None:
    table = rows()
    table[0]["y_px"] = ""
    assert np.isnan(read_table(put(tmp_path / "t.csv", table)).xy_px[0, 0]).all()


def test_the_byte_mark_of_a_spreadsheet_does_no_harm(tmp_path: Path) -> None:
    path = put(tmp_path / "t.csv", rows(), COLUMNS)
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes().replace(b"\n", b"\r\n"))
    table = [row | {"frame": f"0{row['frame']}"} for row in rows()]
    assert_same(read_table(path), read_table(put(tmp_path / "u.csv", table)))


@pytest.mark.parametrize("kept", [0, 1], ids=["near paw alone", "far paw alone"])
def test_the_side_score_may_stand_with_one_paw_of_the_pair(tmp_path: Path, kept: int) -> None:
    table = [row | {"side_score": "0.7" if LANDMARKS.index(row["landmark"]) % 2 == kept else ""} for row in rows()]
    table = [row | ({"side_score": ""} if row["landmark"] in LANDMARKS[4:] else {}) for row in table]
    np.testing.assert_array_equal(read_table(put(tmp_path / "t.csv", table)).side_score, np.full((3, 2), 0.7))


@pytest.mark.parametrize("word", ["1", "true", "True", "yes"])
def test_words_for_hidden(tmp_path: Path, word: str) -> None:
    table = rows()
    table[2]["hidden"] = word
    assert read_table(put(tmp_path / "t.csv", table)).hidden.sum() == 1


def test_a_parquet_table_made_elsewhere(tmp_path: Path) -> None:
    table = rows()
    columns = {name: [row[name] for row in table] for name in COLUMNS[:5]}
    typed = {name: pa.array(values) if name == "landmark" else pa.array([float(value) for value in values])
             for name, values in columns.items()}  # fmt: skip
    typed["frame"] = pa.array([int(value) for value in columns["frame"]], type=pa.int32())
    pa.parquet.write_table(pa.table(typed), tmp_path / "t.parquet")
    assert_same(read_table(tmp_path / "t.parquet"), read_table(put(tmp_path / "t.csv", table, COLUMNS[:5])))


@pytest.mark.parametrize(
    ("row", "column", "value", "words"),
    [
        (4, "landmark", "wither", "row 5: unknown landmark 'wither'; did you mean withers?"),
        (0, "landmark", "near_front", "did you mean near_fore?"),
        (2, "x_px", "left", "row 3, column x_px: 'left' is not a number"),
        (2, "x_px", "inf", "row 3, column x_px"),
        (3, "score", "1.5", "score of far_hind in frame 0 is 1.5"),
        (3, "score", "-0.1", "score of far_hind in frame 0 is -0.1"),
        (1, "side_score", "2", "side_score of far_fore in frame 0 is 2"),
        (7, "time_s", "", "row 8, column time_s is empty"),
        (7, "time_s", "nan", "row 8, column time_s is empty"),
        (7, "time_s", "0.5", "frame 1 has more than one time_s"),
        (6, "frame", "1.5", "row 7, column frame: '1.5' is no whole number"),
        (6, "frame", "-1", "column frame"),
        (6, "frame", "", "column frame"),
        (6, "frame", "0", "near_fore comes more than once in frame 0"),
        (1, "hidden", "maybe", "row 2, column hidden: 'maybe'"),
    ],
)
def test_a_fault_in_one_cell(tmp_path: Path, row: int, column: str, value: str, words: str) -> None:
    table = rows()
    table[row][column] = value
    if (row, column) == (6, "frame") and value == "0":
        table[row]["time_s"] = "0.0"
    with pytest.raises(TableError) as caught:
        read_table(put(tmp_path / "t.csv", table))
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


def falling_times(path: Path) -> Path:
    table = rows()
    for row in table:
        row["time_s"] = str(-float(row["time_s"]))
    return put(path, table)


def all_empty(path: Path) -> Path:
    return put(path, [row | {"x_px": "nan", "y_px": "NaN"} for row in rows()])


def put_bytes(path: Path, data: bytes) -> Path:
    path.write_bytes(data)
    return path


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda path: path, "does not exist"),
        (lambda path: put_bytes(path, b""), "is empty (0 bytes)"),
        (lambda path: put_bytes(path, b"frame,time_s,landmark,x_px,y_px\n"), "no row"),
        (lambda path: put(path, rows(), ("frame", "landmark", "x_px")), "lacks the column time_s, y_px"),
        (lambda path: put_bytes(path, b"frame;time_s;landmark;x_px;y_px\n0;0;croup;1;1\n"), "with commas between"),
        (lambda path: put_bytes(path, b"frame,time_s,landmark,x_px,y_px\n1,2\n"), "cannot be read as a table"),
        (lambda path: put_bytes(path, b"\xff\xfe\x00\x01"), "cannot be read as a table"),
        (lambda path: put_bytes(path.with_suffix(".parquet"), b"no table"), "cannot be read as a table"),
        (lambda path: path.with_suffix(".xlsx"), "allowed are .csv and .parquet"),
        (falling_times, "time_s does not rise from frame 0 to frame 1"),
        (all_empty, "holds no place at all"),
    ],
    ids=["missing", "empty", "head only", "columns missing", "semicolons", "short row", "not text", "false parquet",
         "other ending", "time falls", "all missing"],
)  # fmt: skip
def test_a_fault_of_the_whole_table(tmp_path: Path, make, words: str) -> None:
    with pytest.raises(TableError) as caught:
        read_table(make(tmp_path / "t.csv"))
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_failed_write_leaves_the_old_table_and_no_remains(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "t.csv"
    write_table(some_tracks(), path)
    before = path.read_bytes()
    monkeypatch.setattr("pose.table.os.replace", lambda *_: (_ for _ in ()).throw(OSError("disk full")))
    with pytest.raises(OSError, match="disk full"):
        write_table(some_tracks(seed=6), path)
    assert path.read_bytes() == before
    assert [item.name for item in tmp_path.iterdir()] == ["t.csv"]
