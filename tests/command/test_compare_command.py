"""`pawfall sheet` and `pawfall compare` from the words on the command line to the folder of results."""

import csv
import json
from pathlib import Path
from typing import Any

import numpy as np
import openpyxl
import pytest
from command_line import call, lines_of, put_sheet, put_table, record_of
from generator import PACE, TROT, Scene, dog
from walker import trotting

from gait import comparing
from gait.comparison_tables import COLUMNS
from pose.table import write_table
from pose.tracks import Tracks

TABLES = {"bare.csv": 0.5, "boots.csv": 0.55, "week6.csv": 0.5}
ROWS = (
    "bare.csv,Tansy,2026-03-02,bare,yes,1.5",
    "boots.csv,Tansy,2026-03-02,boots,,1.5",
    "week6.csv,Tansy,2026-04-13,bare,yes,1.5",
)
TABLES_MADE = {"comparison.json", "comparison.csv", "strides.xlsx", "clips"}
SHOWN = {"report.html", "report.pdf", "films"}


@pytest.fixture(autouse=True)
def plain_pages(monkeypatch: pytest.MonkeyPatch) -> None:
    """Pages and films take most of the time and have tests of their own; ``compared`` makes real ones."""
    monkeypatch.setattr("gait.reading.write_page", lambda record, path, **_: path.write_text("a page"))
    monkeypatch.setattr(comparing, "WRITERS", comparing.WRITERS[:-1])


def put_dogs(folder: Path) -> Path:
    for name, period_s in TABLES.items():
        put_table(folder, name, seconds=7.0 + period_s + 0.1 * len(name), period_s=period_s)
    return put_sheet(folder, *ROWS)


def told_by(out: Path) -> dict[str, Any]:
    return json.loads((out / "comparison.json").read_text(), parse_constant=lambda word: pytest.fail(f"{word} in JSON"))


@pytest.fixture(scope="module")
def compared(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three tables of one dog: bare, in boots with longer strides, bare again six weeks later."""
    folder = tmp_path_factory.mktemp("compared")
    result = call("compare", put_dogs(folder), "-o", folder / "out")
    assert result.exit_code == 0, result.output
    assert "Tansy: boots against bare. Same trot" in result.stdout
    assert "Tansy, bare: 2026-04-13 against 2026-03-02. Same trot" in result.stdout
    return folder / "out"


def test_a_sheet_becomes_a_folder_of_results(compared: Path) -> None:
    assert {item.name for item in compared.iterdir()} == TABLES_MADE | SHOWN
    assert {item.name for item in (compared / "clips").iterdir()} == {"bare", "boots", "week6"}
    assert record_of(compared / "clips" / "boots")["trial"]["condition"] == "boots"
    assert not (compared / "clips" / "bare" / "film.mp4").exists()


def test_the_longer_stride_is_in_the_table(compared: Path) -> None:
    lines = lines_of(compared)
    assert tuple(lines[0]) == COLUMNS
    [stride] = [line for line in lines if line["measure"] == "stride_time_s" and line["condition"] == "boots"]
    assert (stride["dog"], stride["baseline"], stride["gait"], stride["unit"]) == ("Tansy", "bare", "trot", "s")
    assert (stride["verdict"], stride["declined"]) == ("larger", "")
    assert float(stride["difference"]) == pytest.approx(0.05, abs=0.003)
    assert float(stride["low"]) < float(stride["difference"]) < float(stride["high"])
    assert min(int(stride["n_baseline"]), int(stride["n_condition"])) >= 8


def test_a_visit_carries_its_dates(compared: Path) -> None:
    names = {(line["condition"], line["baseline"]) for line in lines_of(compared)}
    assert names == {("boots", "bare"), ("bare 2026-04-13", "bare 2026-03-02")}


def test_the_json_tells_everything(compared: Path) -> None:
    told = told_by(compared)
    assert [clip["place"] for clip in told["clips"]] == [f"sheet.csv, row {row}" for row in (2, 3, 4)]
    assert [clip["results"] for clip in told["clips"]] == ["clips/bare", "clips/boots", "clips/week6"]
    assert (told["unread"], told["seed"], told["networks"]) == ([], 0, [])
    assert [contrast["kind"] for contrast in told["contrasts"]] == ["condition", "visit"]
    assert told["contrasts"][0]["baseline"]["clips"] == ["bare.csv"]
    assert {"p_holm", "percent_low", "resolution"} <= told["contrasts"][0]["lines"][0].keys()
    assert {trend["measure"] for trend in told["trends"]} >= {"stride_time_s"}
    assert told["versions"]["pawfall"]
    numbers = {line["measure"]: line["difference"] for line in told["contrasts"][0]["lines"]}
    rows = {line["measure"]: line["difference"] for line in lines_of(compared) if line["condition"] == "boots"}
    assert {name: pytest.approx(value, rel=1e-5) for name, value in numbers.items() if value is not None} == {
        name: float(value) for name, value in rows.items() if value
    }


def test_the_workbook_holds_every_stride_with_units_and_definitions(compared: Path) -> None:
    book = openpyxl.load_workbook(compared / "strides.xlsx")
    assert book.sheetnames == ["strides", "comparison", "definitions"]
    head, *rows = book["strides"].iter_rows(values_only=True)
    assert len(set(head)) == len(head)
    assert {"stride length (m)", "stride length (bl)", "topline angle (deg)", "duty factor", "start (s)"} <= set(head)
    assert len(rows) == sum(record_of(clip)["strides"]["found"] for clip in (compared / "clips").iterdir())
    assert {row[0] for row in rows} == set(TABLES)
    with (compared / "clips" / "bare" / "strides.csv").open() as file:
        expected = [row["stride_length_m"] for row in csv.DictReader(file)]
    found = [row[head.index("stride length (m)")] for row in rows if row[0] == "bare.csv"]
    assert ["" if value is None else f"{value:.5f}" for value in found] == expected
    lines = list(book["comparison"].iter_rows(values_only=True))
    assert (lines[0], len(lines) - 1) == (COLUMNS, len(lines_of(compared)))
    defined = {row[1] for row in book["definitions"].iter_rows(values_only=True)}
    assert {line["measure"] for line in lines_of(compared)} <= defined
    for sheet in book:
        assert (sheet.freeze_panes, sheet["A1"].font.bold) == ("A2", True)
        for column in sheet.columns:
            room = sheet.column_dimensions[column[0].column_letter].width
            texts = [len(cell.value) for cell in column if isinstance(cell.value, str) and not cell.alignment.wrap_text]
            assert max(texts, default=0) < room


def test_a_word_that_looks_like_a_formula_stays_a_word(tmp_path: Path) -> None:
    put_dogs(tmp_path)
    sheet = put_sheet(tmp_path, *(row.replace("Tansy", "=1+1") for row in ROWS))
    assert call("compare", sheet, "-o", tmp_path / "out").exit_code == 0
    book = openpyxl.load_workbook(tmp_path / "out" / "strides.xlsx")
    assert (book["strides"]["B2"].value, book["strides"]["B2"].data_type) == ("=1+1", "s")


def test_the_same_call_gives_the_same_tables_and_reads_nothing_again(
    compared: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept = ("comparison.json", "comparison.csv", "clips/bare/record.json", "clips/bare/report.html")
    before = {name: ((compared / name).read_bytes(), (compared / name).stat().st_mtime_ns) for name in kept}
    monkeypatch.setattr("gait.reuse.read_to_folder", lambda *_, **__: pytest.fail("a clip was read again"))
    result = call("compare", compared.parent / "sheet.csv", "-o", compared)
    assert result.exit_code == 0, result.output
    assert result.stdout.count("(read before)") == 3
    for name, (content, changed_ns) in before.items():
        assert (compared / name).read_bytes() == content, name
        assert ((compared / name).stat().st_mtime_ns == changed_ns) == name.startswith("clips"), name


def test_a_clip_that_cannot_be_read_is_told_and_the_rest_goes_on(tmp_path: Path) -> None:
    put_dogs(tmp_path)
    put_table(tmp_path, "slow.csv", fps=15.0)
    (tmp_path / "empty.mp4").touch()
    sheet = put_sheet(tmp_path, *ROWS, "slow.csv,Tansy,2026-03-02,vest,,1.5")
    result = call("compare", sheet, "-o", tmp_path / "out")
    assert result.exit_code == 0, result.output
    assert "sheet.csv, row 5: slow.csv has 15.0 frames per second" in result.stderr
    assert len(result.stderr.strip().splitlines()) == 1
    [unread] = told_by(tmp_path / "out")["unread"]
    assert (unread["clip"], unread["place"]) == ("slow.csv", "sheet.csv, row 5")
    assert "15.0 frames per second" in unread["reason"]


def test_a_fault_of_ours_is_owned_and_the_rest_goes_on(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    real = comparing.read_or_reuse
    monkeypatch.setattr(
        comparing, "read_or_reuse", lambda asked, *rest: [][1] if asked.source.stem == "week6" else real(asked, *rest)
    )
    result = call("compare", put_dogs(tmp_path), "-o", tmp_path / "out")
    assert result.exit_code == 1
    assert "a fault of pawfall itself (IndexError" in result.stderr
    assert (tmp_path / "out" / "comparison.csv").exists()


def two_too_short(folder: Path) -> Path:
    put_table(folder, "a.csv", seconds=0.1)
    put_table(folder, "b.csv", fps=15.0)
    return put_sheet(folder, "a.csv,Tansy,2026-03-02,bare,yes,1", "b.csv,Tansy,2026-03-02,boots,,1")


def one_condition(folder: Path) -> Path:
    put_dogs(folder)
    return put_sheet(folder, ROWS[0])


def no_baseline(folder: Path) -> Path:
    put_dogs(folder)
    return put_sheet(folder, ROWS[0].replace("yes", ""), ROWS[1])


def few_strides(folder: Path) -> Path:
    put_table(folder, "bare.csv", seconds=3.0)
    put_table(folder, "boots.csv", seconds=3.5)
    return put_sheet(folder, *ROWS[:2])


@pytest.mark.parametrize(
    ("make", "code", "words", "told"),
    [
        (lambda folder: folder / "none.csv", 2, "cannot be read", 1),
        (lambda folder: put_sheet(folder, "none.csv,Tansy,2026-03-02,bare,yes,1"), 2, "row 2, column clip", 1),
        (one_condition, 2, "holds nothing to compare", 1),
        (no_baseline, 2, "holds nothing to compare", 1),
        (two_too_short, 3, "None of the 2 clips of sheet.csv could be read", 3),
    ],
    ids=["no sheet", "a fault in the sheet", "one condition", "no baseline", "no clip can be read"],
)
def test_nothing_to_compare_ends_in_a_line(tmp_path: Path, make: Any, code: int, words: str, told: int) -> None:
    result = call("compare", make(tmp_path), "-o", tmp_path / "out")
    assert result.exit_code == code, result.output
    assert words in result.stderr
    assert len(result.stderr.strip().splitlines()) == told
    assert not (tmp_path / "out").exists() or list((tmp_path / "out").iterdir()) == []


def test_lines_that_are_all_declined_say_why_and_hold_no_number(tmp_path: Path) -> None:
    result = call("compare", few_strides(tmp_path), "-o", tmp_path / "out")
    lines = lines_of(tmp_path / "out")
    assert all(line["declined"] and not line["verdict"] and not line["difference"] for line in lines)
    assert (result.exit_code, bool(lines)) == (3, True)
    assert "Nothing could be compared" in result.stderr
    assert all(line["n_baseline"] and line["n_condition"] for line in lines)


def test_another_gait_is_a_finding_in_itself(tmp_path: Path) -> None:
    for name, gait in (("bare.csv", TROT), ("boots.csv", PACE)):
        write_table(dog(gait, Scene(noise_bl=0.005, seed=len(name)))[0], tmp_path / name)
    result = call("compare", put_sheet(tmp_path, *ROWS[:2]), "-o", tmp_path / "out")
    assert result.exit_code == 0, result.output
    assert not [line["verdict"] for line in lines_of(tmp_path / "out") if line["verdict"]]
    assert "Tansy: boots against bare. In boots Tansy paces" in result.stdout


def test_dogs_that_stand_are_no_silent_success(tmp_path: Path) -> None:
    for name in ("bare.csv", "boots.csv"):
        walk = trotting(5.0 + len(name) / 10)
        xy = np.repeat(walk.xy_px[:1], len(walk), axis=0)
        write_table(Tracks(walk.frame, walk.t_s, xy, walk.score, walk.hidden), tmp_path / name)
    result = call("compare", put_sheet(tmp_path, *ROWS[:2]), "-o", tmp_path / "out")
    [line] = lines_of(tmp_path / "out")
    assert (result.exit_code, line["measure"]) == (3, "")
    assert "no stride with a gait that has a name" in line["declined"]
    assert line["declined"] in result.stdout


def test_a_contrast_without_a_baseline_is_a_row_with_its_reason(tmp_path: Path) -> None:
    put_dogs(tmp_path)
    sheet = put_sheet(tmp_path, *ROWS[:2], ROWS[2].replace("bare,yes", "vest,"))
    assert call("compare", sheet, "-o", tmp_path / "out").exit_code == 0
    [line] = [line for line in lines_of(tmp_path / "out") if line["condition"] == "vest"]
    assert (line["measure"], line["baseline"], line["n_condition"]) == ("", "", "")
    assert "no baseline on 2026-04-13" in line["declined"]


@pytest.mark.parametrize("kind", ["a file", "a folder of something else"])
def test_nothing_else_is_ever_replaced(tmp_path: Path, kind: str) -> None:
    sheet, out = put_dogs(tmp_path), tmp_path / "out"
    if kind == "a file":
        out.write_text("precious")
    else:
        out.mkdir()
        (out / "thesis.txt").write_text("precious")
    result = call("compare", sheet, "-o", out)
    assert result.exit_code == 2
    assert "is there already and is no earlier comparison" in result.stderr
    assert (out if kind == "a file" else out / "thesis.txt").read_text() == "precious"


def test_a_night_that_broke_off_goes_on_where_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    sheet = put_dogs(tmp_path)

    def stop(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as broken:
        broken.setattr(comparing, "compare_records", stop)
        assert call("compare", sheet, "-o", tmp_path / "out").exit_code == 130
    assert [item.name for item in (tmp_path / "out").iterdir()] == ["clips"]
    result = call("compare", sheet, "-o", tmp_path / "out")
    assert (result.exit_code, result.stdout.count("(read before)")) == (0, 3)


def test_a_comparison_gives_way_only_to_a_whole_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    sheet, out = put_dogs(tmp_path), tmp_path / "out"
    assert call("compare", sheet, "-o", out).exit_code == 0
    (out / "my notes.txt").write_text("ask the vet")
    before = (out / "comparison.json").read_bytes()

    def fail(*_: object) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as broken:
        broken.setattr(comparing, "WRITERS", (*comparing.WRITERS, fail))
        result = call("compare", sheet, "-o", out, "--seed", 5)
    assert (result.exit_code, "No space left" in result.stderr) == (2, True)
    assert (out / "comparison.json").read_bytes() == before
    assert {item.name for item in tmp_path.iterdir()} == {*TABLES, "sheet.csv", "out"}
    assert call("compare", sheet, "-o", out, "--seed", 5).exit_code == 0
    assert told_by(out)["seed"] == 5
    assert {item.name for item in out.iterdir()} == TABLES_MADE | {"my notes.txt"}


def test_two_clips_of_one_name_get_two_folders(tmp_path: Path) -> None:
    put_table(tmp_path / "a", "dog.csv", seconds=7.0)
    put_table(tmp_path / "b", "Dog.csv", seconds=7.5)
    sheet = put_sheet(tmp_path, "a/dog.csv,Tansy,2026-03-02,bare,yes,1", "b/Dog.csv,Tansy,2026-03-02,boots,,1")
    assert call("compare", sheet, "-o", tmp_path / "out").exit_code == 0
    assert [clip["results"] for clip in told_by(tmp_path / "out")["clips"]] == ["clips/dog", "clips/Dog-2"]


def test_from_a_folder_of_clips_to_a_comparison(tmp_path: Path) -> None:
    for name, period_s in (("bare.csv", 0.5), ("boots.csv", 0.55), ("odd.csv", 0.6)):
        put_table(tmp_path, name, seconds=7 + period_s, period_s=period_s)
    for name in ("bare", "boots"):
        (tmp_path / f"{name}.toml").write_text(
            f'dog = "Tansy"\ndate = 2026-03-02\ncondition = "{name}"\nbelt_m_s = 1.5\n'
            f"baseline = {str(name == 'bare').lower()}"
        )
    result = call("compare", tmp_path, "-o", tmp_path / "out")
    assert result.exit_code == 0, result.output
    assert "left out, since no .toml of their name lies beside them: odd.csv" in result.stderr
    again = call("compare", tmp_path, "-o", tmp_path / "out")
    assert (again.exit_code, again.stdout.count("(read before)")) == (0, 2)


def test_a_new_sheet_says_what_to_fill_in_and_is_never_written_over(tmp_path: Path) -> None:
    put_table(tmp_path)
    result = call("sheet", tmp_path)
    assert result.exit_code == 0, result.output
    assert "1 clip\n" in result.stdout
    assert all(word in result.stdout for word in ("dog", "YYYY-MM-DD", "baseline", "pawfall compare"))
    again = call("sheet", tmp_path)
    assert (again.exit_code, "is there already" in again.stderr) == (2, True)
    assert call("sheet", tmp_path, "-o", tmp_path / "list.xlsx").exit_code == 0
    wrong = call("sheet", tmp_path / "none")
    assert (wrong.exit_code, len(wrong.stderr.strip().splitlines())) == (2, 1)
