"""What a comparison shows: its page and PDF, films in step, key pictures, and what could not be shown."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import av
import pytest
from command_line import call, put_sheet, put_table
from strides_maker import Clip, make_clip

from gait.compare.compare import compare_records
from gait.compare.nouns import Contrast
from gait.showing import film_name, shown_pair

ROWS = (
    "bare.csv,Tansy,2026-03-02,bare,yes,1.5",
    "boots.csv,Tansy,2026-03-02,boots,,1.5",
    "slow.csv,Tansy,2026-03-02,vest,,1.5",
)
BARE = Clip("bare", baseline=True)
BOOTS = Clip("boots", "boots", seed=1)


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    monkeypatch.setattr("gait.reading.write_page", lambda record, path, **_: path.write_text("a page"))
    put_table(tmp_path, "bare.csv", seconds=7.0)
    put_table(tmp_path, "boots.csv", seconds=7.1, period_s=0.55)
    put_table(tmp_path, "slow.csv", fps=15.0)
    yield tmp_path


def test_a_comparison_of_tables_has_a_page_a_pdf_and_a_film_of_landmarks(folder: Path) -> None:
    assert call("compare", put_sheet(folder, *ROWS), "-o", folder / "out", "--slower", 2).exit_code == 0
    out = folder / "out"
    assert (out / "report.pdf").read_bytes().startswith(b"%PDF")
    with av.open(str(out / "films" / "tansy-boots-2026-03-02.mp4")) as film:
        assert film.streams.video[0].codec_context.name == "h264"
        # eight strides of 0.5 s, twice slower than life
        assert float(film.duration / av.time_base) == pytest.approx(2 * 8 * 0.5, abs=0.1)
    page = (out / "report.html").read_text(encoding="utf-8")
    assert "films/tansy-boots-2026-03-02.mp4" in page
    assert "Not read: slow.csv. slow.csv has 15.0 frames per second" in page


def test_no_film_means_none(folder: Path) -> None:
    assert call("compare", put_sheet(folder, *ROWS[:2]), "-o", folder / "out", "--no-film").exit_code == 0
    assert not (folder / "out" / "films").exists()
    assert "<video" not in (folder / "out" / "report.html").read_text(encoding="utf-8")


def contrast_of(*clips: Clip) -> Contrast:
    return compare_records([make_clip(clip) for clip in clips]).contrasts[0]


@pytest.mark.parametrize(
    ("dog", "condition", "name"),
    [
        ("Tansy", "boots", "tansy-boots-2026-03-02.mp4"),
        ("Öhm / 2", "Y-front: new?", "öhm-2-y-front-new-2026-03-02.mp4"),
        ("..", "boots", "boots-2026-03-02.mp4"),
    ],
    ids=["plain", "signs", "dots"],
)
def test_a_film_has_a_name_that_any_file_system_takes(dog: str, condition: str, name: str) -> None:
    assert film_name(contrast_of(replace(BARE, dog=dog), replace(BOOTS, dog=dog, condition=condition))) == name


def test_clips_that_face_one_way_are_shown_before_longer_ones() -> None:
    longer = replace(BOOTS, name="other way", facing="left", gaits=("trot",) * 30)
    first, second = shown_pair(contrast_of(BARE, longer, BOOTS))
    assert (first.trial.clip, second.trial.clip) == ("bare", "boots")


def test_of_clips_alike_the_one_with_most_clear_strides_is_shown() -> None:
    unclear = replace(BARE, name="another", gaits=("unclear",) * 10 + ("trot",) * 9)
    first, _ = shown_pair(contrast_of(unclear, BARE, BOOTS))
    assert first.trial.clip == "bare"
