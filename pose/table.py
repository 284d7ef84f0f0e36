"""Landmark tables (CSV or Parquet): one row per frame and landmark, in and out."""

import difflib
import os
from pathlib import Path
from typing import Any, Final

import numpy as np
import pyarrow as pa
import pyarrow.csv
import pyarrow.parquet
from numpy.typing import NDArray

from pose.errors import TableError
from pose.landmarks import LANDMARKS, PAIRS
from pose.tracks import BoolArray, FloatArray, IntArray, Tracks

COLUMNS: Final = ("frame", "time_s", "landmark", "x_px", "y_px", "score", "hidden", "side_score")
NEEDED: Final = COLUMNS[:5]
ENDINGS: Final = (".csv", ".parquet")

#: Decimals written: 1/1000 px and 1 us lie far below what any camera resolves.
DECIMALS: Final = {"time_s": 6, "x_px": 3, "y_px": 3, "score": 4, "side_score": 4}

ROUNDED: Final = {"t_s": "time_s", "xy_px": "x_px", "score": "score", "side_score": "side_score"}

MISSING: Final = ("", "nan", "na", "null", "none")
YES_NO: Final = {"0": False, "1": True, "false": False, "true": True, "no": False, "yes": True, "": False}

Words = NDArray[np.str_]


def write_table(tracks: Tracks, path: str | Path) -> None:
    """Write ``tracks`` as CSV or Parquet (by the ending of ``path``); the file appears whole or not at all."""
    path = Path(path)
    _check_ending(path)
    beside = path.with_name(f".{path.name}.partial-{os.getpid()}")
    try:
        if path.suffix.lower() == ".csv":
            beside.write_text(_as_csv(tracks), encoding="utf-8")
        else:
            pa.parquet.write_table(pa.table(_columns(tracks)), beside)
        os.replace(beside, path)
    finally:
        beside.unlink(missing_ok=True)


def as_written(tracks: Tracks) -> Tracks:
    """``tracks`` with the decimals that a table holds: what reading them back would give, to the last bit."""
    kept = {name: np.round(getattr(tracks, name), DECIMALS[column]) for name, column in ROUNDED.items()}
    return Tracks(frame=tracks.frame, hidden=tracks.hidden, **kept)


def read_table(path: str | Path) -> Tracks:
    """Read a landmark table; rows may come in any order, a landmark without a row is missing (NaN).

    Needed columns: frame, time_s, landmark, x_px, y_px. Optional: score, hidden, side_score.
    Raises TableError, which names the row and the column.
    """
    path = Path(path)
    _check_ending(path)
    columns = _load(path)
    _check_columns(path, columns)
    rows = len(columns["frame"])
    frame = _whole_numbers(path, columns["frame"])
    mark = _landmark_numbers(path, columns["landmark"])
    time_s = _numbers(path, "time_s", columns["time_s"])
    _check_no_nan(path, time_s)
    frames, place = np.unique(frame, return_inverse=True)
    _check_duplicates(path, frame, mark)
    grid = {name: np.full((len(frames), len(LANDMARKS)), np.nan) for name in ("x_px", "y_px", "score", "side_score")}
    for name, values in grid.items():
        if name in columns:
            values[place, mark] = _numbers(path, name, columns[name])
    hidden = np.zeros((len(frames), len(LANDMARKS)), dtype=bool)
    hidden[place, mark] = _yes_no(path, columns.get("hidden", np.full(rows, "0")))
    _check_shares(path, grid, frames)
    if not np.isfinite(grid["x_px"] * grid["y_px"]).any():
        raise TableError(f"{path.name} holds no place at all: x_px or y_px is empty in every row.")
    return Tracks(
        frame=frames,
        t_s=_frame_times(path, frames, place, time_s),
        xy_px=_places(grid["x_px"], grid["y_px"]),
        score=grid["score"],
        hidden=hidden,
        side_score=_side_scores(grid["side_score"]),
    )


def _columns(tracks: Tracks) -> dict[str, Any]:
    """The columns of the table, rows ordered by frame and landmark, numbers rounded as written."""
    count, marks = len(tracks), len(LANDMARKS)
    side = np.full((count, marks), np.nan)
    for pair, members in enumerate(PAIRS):
        side[:, members] = tracks.side_score[:, pair, None]
    numbers = {
        "time_s": np.repeat(tracks.t_s, marks),
        "x_px": tracks.xy_px[..., 0].ravel(),
        "y_px": tracks.xy_px[..., 1].ravel(),
        "score": tracks.score.ravel(),
        "side_score": side.ravel(),
    }
    columns: dict[str, Any] = {name: np.round(values, DECIMALS[name]) for name, values in numbers.items()}
    columns |= {"frame": np.repeat(tracks.frame, marks), "landmark": np.tile(LANDMARKS, count)}
    columns["hidden"] = tracks.hidden.ravel().astype(np.int64)
    return {name: columns[name] for name in COLUMNS}


def _as_csv(tracks: Tracks) -> str:
    words = [_words(name, values) for name, values in _columns(tracks).items()]
    return "\n".join([",".join(COLUMNS), *map(",".join, zip(*words, strict=True))]) + "\n"


def _words(name: str, values: Any) -> list[str]:
    if name not in DECIMALS:
        return [str(value) for value in values]
    word = f"{{:.{DECIMALS[name]}f}}".format
    return ["" if value != value else word(value) for value in values.tolist()]


def _load(path: Path) -> dict[str, Words]:
    """Every column as words, missing ones as ''."""
    if not path.is_file():
        raise TableError(f"{path} does not exist. Give a landmark table (.csv or .parquet).")
    if not path.stat().st_size:
        raise TableError(f"{path.name} is empty (0 bytes). A landmark table needs the columns {', '.join(NEEDED)}.")
    try:
        table = _load_csv(path) if path.suffix.lower() == ".csv" else pa.parquet.read_table(path)
    except (pa.ArrowException, OSError, UnicodeDecodeError) as error:
        raise TableError(f"{path.name} cannot be read as a table: {str(error).splitlines()[0]}") from error
    return {name.strip(): _as_words(table[name]) for name in table.column_names}


def _load_csv(path: Path) -> pa.Table:
    with path.open(encoding="utf-8-sig") as file:
        names = file.readline().rstrip("\r\n").split(",")
    kinds = {name: pa.string() for name in names}
    return pa.csv.read_csv(path, convert_options=pa.csv.ConvertOptions(column_types=kinds, strings_can_be_null=False))


def _as_words(column: pa.ChunkedArray) -> Words:
    return np.array(["" if value is None else str(value).strip() for value in column.to_pylist()], dtype=np.str_)


def _numbers(path: Path, name: str, words: Words) -> FloatArray:
    """(rows,) numbers; missing is NaN. An infinite number or a word is an error."""
    values = np.full(len(words), np.nan)
    told = ~np.isin(np.char.lower(words), list(MISSING))
    try:
        values[told] = words[told].astype(np.float64)
    except ValueError:
        return _first_wrong(path, name, words)
    return values if np.isfinite(values[told]).all() else _first_wrong(path, name, words)


def _first_wrong(path: Path, name: str, words: Words) -> FloatArray:
    """The same word by word, to say which row is wrong."""
    values = np.full(len(words), np.nan)
    for row, word in enumerate(words):
        if word.lower() in MISSING:
            continue
        try:
            values[row] = float(word)
        except ValueError:
            values[row] = np.inf
        if np.isinf(values[row]):
            raise TableError(f"{path.name}, row {row + 1}, column {name}: {str(word)!r} is not a number; mend it.")
    return values


def _whole_numbers(path: Path, words: Words) -> IntArray:
    values = _numbers(path, "frame", words)
    wrong = np.flatnonzero(~(values == np.floor(values)) | (values < 0))
    if len(wrong):
        row = int(wrong[0])
        raise TableError(f"{path.name}, row {row + 1}, column frame: {str(words[row])!r} is no whole number from 0 on.")
    return values.astype(np.int64)


def _landmark_numbers(path: Path, words: Words) -> IntArray:
    for row, word in enumerate(words):
        if word not in LANDMARKS:
            near = difflib.get_close_matches(str(word), LANDMARKS, n=1, cutoff=0.0)[0]
            raise TableError(
                f"{path.name}, row {row + 1}: unknown landmark {str(word)!r}; did you mean {near}? "
                f"Allowed: {', '.join(LANDMARKS)}."
            )
    return np.array([LANDMARKS.index(str(word)) for word in words], dtype=np.int64)


def _yes_no(path: Path, words: Words) -> BoolArray:
    for row, word in enumerate(words):
        if word.lower() not in YES_NO:
            raise TableError(f"{path.name}, row {row + 1}, column hidden: {str(word)!r} is neither 0 nor 1.")
    return np.array([YES_NO[str(word).lower()] for word in words], dtype=bool)


def _frame_times(path: Path, frames: IntArray, place: IntArray, time_s: FloatArray) -> FloatArray:
    """(T,) s, the one time of each frame; all rows of a frame have to agree and times have to rise."""
    times = np.empty(len(frames))
    times[place] = time_s
    torn = np.flatnonzero(times[place] != time_s)
    if len(torn):
        number = frames[place[torn[0]]]
        raise TableError(f"{path.name}: frame {number} has more than one time_s; give each frame one time.")
    falls = np.flatnonzero(np.diff(times) <= 0)
    if len(falls):
        early, late = frames[falls[0]], frames[falls[0] + 1]
        raise TableError(
            f"{path.name}: time_s does not rise from frame {early} to frame {late}; number frames in time order."
        )
    return times


def _places(x_px: FloatArray, y_px: FloatArray) -> FloatArray:
    """(T, 6, 2) px; a place with one coordinate missing is missing."""
    xy = np.stack([x_px, y_px], axis=-1)
    xy[np.isnan(xy).any(axis=-1)] = np.nan
    return xy


def _side_scores(values: FloatArray) -> FloatArray:
    """(T, 2) from the paws' column (T, 6): that of the near paw, or of the far one where the near one has none."""
    return np.stack([np.where(np.isnan(values[:, a]), values[:, b], values[:, a]) for a, b in PAIRS], axis=-1)


def _check_ending(path: Path) -> None:
    if path.suffix.lower() not in ENDINGS:
        raise TableError(f"{path.name} is no landmark table; allowed are {' and '.join(ENDINGS)}.")


def _check_columns(path: Path, columns: dict[str, Words]) -> None:
    missing = [name for name in NEEDED if name not in columns]
    if missing:
        raise TableError(
            f"{path.name} lacks the column {', '.join(missing)}; it has {', '.join(columns) or 'none'}. "
            f"Needed, with commas between: {', '.join(NEEDED)}."
        )
    if not len(columns["frame"]):
        raise TableError(f"{path.name} holds column names but no row.")


def _check_no_nan(path: Path, time_s: FloatArray) -> None:
    empty = np.flatnonzero(np.isnan(time_s))
    if len(empty):
        raise TableError(f"{path.name}, row {empty[0] + 1}, column time_s is empty; every row needs its frame's time.")


def _check_duplicates(path: Path, frame: IntArray, mark: IntArray) -> None:
    _, first, count = np.unique(np.stack([frame, mark]), axis=1, return_index=True, return_counts=True)
    twice = first[count > 1]
    if len(twice):
        row = int(twice.min())
        name = LANDMARKS[mark[row]]
        raise TableError(f"{path.name}: {name} comes more than once in frame {frame[row]}; keep one row.")


def _check_shares(path: Path, grid: dict[str, FloatArray], frames: IntArray) -> None:
    for name in ("score", "side_score"):
        wrong = np.argwhere((grid[name] < 0) | (grid[name] > 1))
        if len(wrong):
            at, mark = wrong[0]
            value = grid[name][at, mark]
            raise TableError(
                f"{path.name}: {name} of {LANDMARKS[mark]} in frame {frames[at]} is {value:g}; it has to be 0 to 1."
            )
