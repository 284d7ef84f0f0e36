"""Trial sheets of many clips: what they say, and how every fault is named."""

import datetime
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from gait.errors import TrialError
from gait.sheets.finding import find_clips
from gait.sheets.keys import KEYS, NEEDED
from gait.sheets.start import start_sheet
from gait.sheets.trial_sheet import Sheet, read_sheet
from gait.trial import Trial

HEAD = "clip,dog,date,condition,baseline"
#: The sheet looks at a clip's content only as a whole, so any file will do.
NAMES = ("bare.mp4", "boots.mp4", "week6.mp4")


@pytest.fixture
def clips(tmp_path: Path) -> Path:
    for name in NAMES:
        (tmp_path / name).write_bytes(name.encode())
    return tmp_path


def written(folder: Path, text: str, name: str = "sheet.csv", encoding: str = "utf-8") -> Sheet:
    (folder / name).write_text(text, encoding=encoding)
    return read_sheet(folder / name)


def workbook(folder: Path, rows: list[list[Any]]) -> Sheet:
    book = openpyxl.Workbook()
    for row in rows:
        book.worksheets[0].append(row)
    book.save(folder / "sheet.xlsx")
    return read_sheet(folder / "sheet.xlsx")


@pytest.mark.parametrize(
    ("text", "encoding"),
    [
        (f"{HEAD},belt_m_s,notes\nbare.mp4,Tansy,2026-03-02,bare,yes,1.25,\nboots.mp4,Tansy,2026-03-02,boots,,1.25,hops\n",
         "utf-8"),
        (f"{HEAD};belt_kmh;notes\nbare.mp4;Tansy;2026-03-02;bare;x;4,5;\nboots.mp4;Tansy;2026-03-02;boots;no;4,5;hops"
         .replace(HEAD, HEAD.replace(",", ";")), "utf-8"),
        (f"{HEAD},belt_kmh,notes\r\nbare.mp4, Tansy ,2026-03-02,bare,TRUE,4.5,\r\n\r\n"
         "boots.mp4,Tansy,2026-3-2,boots,0,4.5,hops,,\r\n,,,,\r\n", "utf-8-sig"),
        ("Notes\tBelt_kmh\tbaseline\tcondition\tdate\tdog\tclip\n\t4.5\t1\tbare\t2026-03-02\tTansy\tbare.mp4\n"
         "hops\t4.5\tFalse\tboots\t2026-03-02\tTansy\tboots.mp4\n", "utf-8"),
    ],
    ids=["commas", "semicolons and decimal commas", "byte order mark, blank rows, spaces", "tabs, another order"],
)  # fmt: skip
def test_one_sheet_in_many_forms(clips: Path, text: str, encoding: str) -> None:
    sheet = written(clips, text, encoding=encoding)
    assert [row.trial.condition for row in sheet.rows] == ["bare", "boots"]
    assert [row.trial.baseline for row in sheet.rows] == [True, False]
    assert {row.trial.dog for row in sheet.rows} == {"Tansy"}
    assert {row.trial.date for row in sheet.rows} == {"2026-03-02"}
    assert [row.trial.belt_m_s for row in sheet.rows] == [pytest.approx(1.25)] * 2
    assert [row.trial.notes for row in sheet.rows] == ["", "hops"]
    assert [row.source for row in sheet.rows] == [clips / "bare.mp4", clips / "boots.mp4"]
    assert len({row.sha256 for row in sheet.rows}) == 2


def test_a_workbook_with_cells_of_its_own_kinds(clips: Path) -> None:
    day = datetime.datetime(2026, 3, 2)
    sheet = workbook(
        clips,
        [
            [*NEEDED, "belt_kmh", "mass_kg", "notes", "facing"],
            ["bare.mp4", 7, day, "bare", True, 4.5, "28,5", None, "Left"],
            ["boots.mp4", "7", day.date(), "boots", 0, 5, 28, 12, "auto"],
            [None] * 8,
            ["week6.mp4", 7.0, "2026-04-13", "bare", 1.0, None, None, None, None],
        ],
    )
    first, second, third = (row.trial for row in sheet.rows)
    assert (first.dog, second.dog, third.dog) == ("7", "7", "7")
    assert (first.date, second.date, third.date) == ("2026-03-02", "2026-03-02", "2026-04-13")
    assert (first.baseline, second.baseline, third.baseline) == (True, False, True)
    assert (first.mass_kg, second.mass_kg, second.notes) == (28.5, 28.0, "12")
    assert (first.facing, second.facing) == ("left", None)
    assert str(sheet.rows[2].place) == "sheet.xlsx, row 5"


def test_toml_tables(clips: Path) -> None:
    sheet = written(
        clips,
        '[[clip]]\nclip = "bare.mp4"\ndog = "Tansy"\ndate = 2026-03-02\ncondition = "bare"\nbaseline = true\n'
        '[[clip]]\nclip = "boots.mp4"\ndog = "Tansy"\ndate = "2026-03-02"\ncondition = "boots"\nbelt_kmh = 9\n',
        "sheet.toml",
    )
    assert [(row.trial.date, row.trial.baseline, row.trial.belt_m_s) for row in sheet.rows] == [
        ("2026-03-02", True, None), ("2026-03-02", False, 2.5)
    ]  # fmt: skip


def test_a_folder_of_clips_with_a_sheet_each(clips: Path) -> None:
    (clips / "later").mkdir()
    (clips / "week6.mp4").rename(clips / "later" / "week6.mp4")
    for name in ("bare", "later/week6"):
        (clips / f"{name}.toml").write_text('clip = "elsewhere.mp4"\ndog = "Ember"\ndate = 2026-03-02\ncondition = "c"')
    sheet = read_sheet(clips)
    assert [row.trial.clip for row in sheet.rows] == ["bare.mp4", "later/week6.mp4"]
    assert sheet.notes == ("left out, since no .toml of their name lies beside them: boots.mp4",)
    assert str(sheet.rows[1].place) == "later/week6.toml"


def test_a_folder_of_pictures_needs_its_rate(clips: Path) -> None:
    (clips / "frames").mkdir()
    (clips / "frames" / "0001.png").write_bytes(b"one")
    text = f"{HEAD},fps\nframes,Tansy,2026-03-02,bare,yes,60\nboots.mp4,Tansy,2026-03-02,boots,,\n"
    assert [row.fps for row in written(clips, text).rows] == [60.0, None]
    with pytest.raises(TrialError, match=r"row 2, column fps: the clip is a folder of pictures"):
        written(clips, text.replace("yes,60", "yes,"))
    with pytest.raises(TrialError, match=r"row 3, column fps: the clip carries its own times"):
        written(clips, text.replace("boots,,", "boots,,60"))


ROW = "bare.mp4,Tansy,2026-03-02,bare,yes"
NEXT = "boots.mp4,Tansy,2026-03-02,boots,"
FAULTS = [
    ("no row", HEAD, "sheet.csv names no clip"),
    ("an empty file", "", "row 1 has to name the columns"),
    ("a nameless column", f"clip,,dog\n{ROW}", "row 1 has to name the columns without a gap"),
    ("an unknown column", f"{HEAD},belt_kph\n{ROW},4", "row 1: unknown column 'belt_kph'; did you mean belt_kmh?"),
    ("a column twice", f"{HEAD},dog\n{ROW},Tansy", "row 1: column dog comes twice"),
    ("a missing column", f"clip,dog,date,condition\n{ROW}", "row 1: column baseline is missing"),
    ("too many cells", f"{HEAD}\n{ROW},hops, and limps", "sheet.csv, row 2 has 7 cells, the first row names 5 columns"),
    ("no dog", f"{HEAD}\nbare.mp4,,2026-03-02,bare,yes", "sheet.csv, row 2, column dog is empty"),
    ("no clip", f"{HEAD}\n,Tansy,2026-03-02,bare,yes", "row 2, column clip is empty"),
    ("no date, after a blank row", f"{HEAD}\n\n{ROW}\nboots.mp4,Tansy,,boots,", "row 4, column date is empty"),
    ("a date of another country", f"{HEAD}\n{ROW.replace('2026-03-02', '02.03.2026')}",
     "row 2, column date is '02.03.2026'; it has to be a date as YYYY-MM-DD"),
    ("a day that is none", f"{HEAD}\n{ROW.replace('03-02', '02-30')}", "row 2, column date is '2026-02-30'"),
    ("a doubtful baseline", f"{HEAD}\n{ROW.replace('yes', 'maybe')}",
     "row 2, column baseline is 'maybe'; it has to be yes or no"),
    ("a word for a number", f"{HEAD},mass_kg\n{ROW},heavy", "column mass_kg is 'heavy'; it has to be a number"),
    ("a decimal comma between commas", f'{HEAD},belt_kmh\n{ROW},"4,5"', "column belt_kmh is '4,5'"),
    ("not a number by name", f"{HEAD},mass_kg\n{ROW},nan", "column mass_kg is 'nan'"),
    ("an impossible mass", f"{HEAD},mass_kg\n{ROW},-3", "row 2: mass_kg is -3.0; give a number above 0"),
    ("an odd side", f"{HEAD},facing\n{ROW},up", "row 2: facing is 'up'; it can be left or right"),
    ("a belt at rest", f"{HEAD},belt_kmh\n{ROW},0", "row 2: The belt speed is 0 km/h"),
    ("belt speed twice", f"{HEAD},belt_kmh,belt_m_s\n{ROW},4.5,1.25", "row 2: The belt speed came both"),
    ("a sign that cannot be shown", f"{HEAD}\n{ROW.replace('Tansy', 'Tan' + chr(7) + 'sy')}",
     "row 2, column dog holds a sign"),
    ("a clip that is not there", f"{HEAD}\n{ROW.replace('bare.mp4', 'bar.mp4')}",
     "row 2, column clip: bar.mp4 does not exist"),
    ("two spellings of a dog", f"{HEAD}\n{ROW}\n{NEXT.replace('Tansy', 'tansy')}",
     "row 3, column dog is 'tansy', and row 2 says 'Tansy'"),
    ("two spellings of a condition", f"{HEAD}\n{ROW}\n{NEXT.replace('boots', 'B are', 2).replace('B are', 'boots', 1)}",
     "row 3, column condition is 'B are', and row 2 says 'bare'"),
    ("two baselines of one day", f"{HEAD}\n{ROW}\n{NEXT}yes",
     "row 3, column condition is 'boots', in row 2 it is 'bare', and both are the baseline of Tansy on 2026-03-02"),
    ("a baseline and none", f"{HEAD}\n{ROW}\n{NEXT.replace(',boots', ',bare')}",
     "row 3, column baseline: on 2026-03-02 'bare' of Tansy is the baseline in row 2 and not in row 3"),
    ("quotes without an end", f'{HEAD}\n"{ROW}', "is no proper CSV"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "words"), [case[1:] for case in FAULTS], ids=[case[0] for case in FAULTS])
def test_a_fault_names_its_row_and_column(clips: Path, text: str, words: str) -> None:
    with pytest.raises(TrialError) as caught:
        written(clips, text)
    assert words in str(caught.value)
    assert str(caught.value).startswith(("sheet.csv", "The trial sheet"))


def test_the_same_clip_twice_is_found_by_its_content(clips: Path) -> None:
    (clips / "copy.mp4").write_bytes((clips / "bare.mp4").read_bytes())
    with pytest.raises(TrialError, match=r"row 3, column clip: copy.mp4 is the very same clip as bare.mp4 in row 2"):
        written(clips, f"{HEAD}\n{ROW}\n{NEXT.replace('boots.mp4', 'copy.mp4')}")


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("sheet.csv", f"{HEAD}\n{ROW.replace('Tansy', 'Bäro')}".encode("latin-1"), "is not in UTF-8"),
        ("sheet.xlsx", b"no workbook", "it is no XLSX workbook"),
        ("sheet.ods", b"", "sheet.ods is no trial sheet"),
        ("sheet.toml", b"dog = ", "cannot be read"),
        ("sheet.toml", b'dog = "Tansy"\nclip = "bare.mp4"', "has no [[clip]] table"),
        ("sheet.toml", b'dog = "Tansy"\n[[clip]]\n', "dog stands outside a [[clip]] table"),
        ("sheet.toml", b"[[clip]]\nclip = 'bare.mp4'\n", "sheet.toml, clip 1, key dog is empty"),
        ("sheet.toml", b"[[clip]]\nbaseline = 'yes'\n", "clip 1, key baseline is 'yes'; it has to be true or false"),
        ("sheet.toml", b"[[clip]]\ndog = ['Tansy']\n", "clip 1, key dog is ['Tansy']; it has to be text in quotes"),
        ("sheet.toml", b"[[clip]]\ndogg = 'Tansy'\n", "clip 1: unknown key 'dogg'; did you mean dog?"),
        ("sheet.toml", b"[[clip]]\nincline_deg = inf\n", "key incline_deg is inf; it has to be a number"),
        ("sheet.toml", b"[[clip]]\ndate = 5\n", "key date is 5; it has to be a date"),
        ("sheet.toml", b"[[clip]]\nfps = 0\n", "key fps is 0; give a number of pictures per second above 0"),
        ("none.csv", None, "cannot be read: No such file"),
        ("none.xlsx", None, "cannot be read: No such file"),
    ],
)
def test_a_file_that_is_no_sheet(clips: Path, name: str, content: bytes | None, words: str) -> None:
    if content is not None:
        (clips / name).write_bytes(content)
    with pytest.raises(TrialError) as caught:
        read_sheet(clips / name)
    assert words in str(caught.value)


def test_a_folder_without_any_sheet_says_how_to_start_one(clips: Path) -> None:
    with pytest.raises(TrialError, match="pawfall sheet"):
        read_sheet(clips)


@pytest.mark.parametrize("name", ["sheet.csv", "list.xlsx"])
def test_a_started_sheet_can_be_filled_and_read(clips: Path, name: str) -> None:
    (clips / "boots.toml").write_text('dog = "Tansy"\ndate = 2026-03-02\ncondition = "boots"\nbelt_m_s = 1.25')
    (clips / "bare.toml").write_text('dog = "Tansy"\ndate = 2026-03-02\ncondition = "bare"\nbaseline = true')
    (clips / "week6.toml").write_text('dog = "Tansy"\ndate = 2026-04-13\ncondition = "bare"\nbaseline = false')
    assert start_sheet(clips, clips / name) == 3
    rows = read_sheet(clips / name).rows
    assert [row.trial.clip for row in rows] == list(NAMES)
    assert [row.trial.baseline for row in rows] == [True, False, False]
    assert rows[1].trial.belt_m_s == 1.25


def test_an_empty_started_sheet_asks_for_the_first_empty_cell(clips: Path) -> None:
    start_sheet(clips, clips / "sheet.csv")
    with pytest.raises(TrialError, match=r"sheet.csv, row 2, column dog is empty"):
        read_sheet(clips / "sheet.csv")


def test_a_new_sheet_elsewhere_finds_its_clips(clips: Path) -> None:
    (clips / "lists").mkdir()
    start_sheet(clips, clips / "lists" / "sheet.csv")
    text = (clips / "lists" / "sheet.csv").read_text(encoding="utf-8-sig")
    assert "../bare.mp4" in text
    filled = text.replace(".mp4,,,,", ".mp4,Tansy,2026-03-02,bare,yes")
    assert len(written(clips / "lists", filled).rows) == 3
    assert len(written(clips / "lists", filled.replace("../", "..\\")).rows) == 3


def test_what_counts_as_a_clip(clips: Path) -> None:
    table = "frame,time_s,landmark,x_px,y_px\n"
    for name in ("bare.csv", "bare.landmarks.csv", "alone.csv"):
        (clips / name).write_text(table)
    (clips / "other.csv").write_text("a,b\n")
    (clips / ".hidden.mp4").write_bytes(b"")
    for name, count in (("frames", 10), ("photos", 3)):
        (clips / name).mkdir()
        for number in range(count):
            (clips / name / f"{number:04}.jpg").write_bytes(b"")
    for name, sign in (("read", "record.json"), ("compared", "comparison.json")):
        (clips / name).mkdir()
        (clips / name / sign).write_text("{}")
        (clips / name / "film.mp4").write_bytes(b"")
    found = [clip.relative_to(clips).as_posix() for clip in find_clips(clips)]
    assert found == ["alone.csv", "bare.mp4", "boots.mp4", "frames", "week6.mp4"]
    assert start_sheet(clips, clips / "sheet.csv") == 5
    assert (clips / "sheet.csv").read_text(encoding="utf-8-sig").splitlines()[0].endswith(",notes,fps")


def test_a_sheet_is_never_written_over(clips: Path) -> None:
    for name in ("sheet.csv", "sheet.xlsx"):
        (clips / name).write_text("precious")
        with pytest.raises(FileExistsError):
            start_sheet(clips, clips / name)
        assert (clips / name).read_text() == "precious"


@pytest.mark.parametrize(
    ("folder", "sheet", "words"),
    [("none", "sheet.csv", "is no folder"), ("empty", "sheet.csv", "holds no clip"), (".", "sheet.txt", "is a .csv")],
)
def test_a_sheet_that_cannot_be_started(clips: Path, folder: str, sheet: str, words: str) -> None:
    (clips / "empty").mkdir()
    with pytest.raises(TrialError, match=words):
        start_sheet(clips / folder, clips / sheet)
    assert not (clips / sheet).exists()


def test_every_key_is_known_to_the_trial_or_made_for_one() -> None:
    made_from = {"belt_kmh", "fps"}
    assert set(KEYS) - made_from == set(Trial.__dataclass_fields__) - {"clock_known"}
