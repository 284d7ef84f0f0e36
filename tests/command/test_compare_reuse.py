"""What `pawfall compare` takes from earlier readings, and what makes it read a clip again."""

import types
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from command_line import SHEET_HEAD, call, lines_of, put_sheet, record_of
from film_maker import write_numbered
from walker import trotting

from gait import comparing
from gait.command import compare as compare_module
from gait.report.page import write_page
from pose.clip import Clip
from pose.tracks import Tracks

NETWORK = types.SimpleNamespace(sha256="5ta7d", name="stand-in", precision="fp32", provider="CPUExecutionProvider")
SECONDS, FPS = 7, 30


def follow(clip: Clip, *_: object, **__: object) -> tuple[Tracks, types.SimpleNamespace]:
    """What a perfect network would give for a dog that trots through ``clip``; the name says its stride time."""
    walk = trotting(SECONDS, FPS, period_s=float(f"0.{clip.name[-2:]}"))
    numbers = np.array([frame.index for frame in clip.frames()])
    rest = (walk.xy_px / 10, walk.score, walk.hidden, walk.side_score)
    return Tracks(numbers, clip.stamps_s, *rest), types.SimpleNamespace(frames_without_dog=2)


@pytest.fixture(autouse=True)
def plain_pages(monkeypatch: pytest.MonkeyPatch) -> None:
    """Pages and films take most of the time and have tests of their own."""
    monkeypatch.setattr("gait.reading.write_page", lambda record, path, **_: path.write_text("a page"))
    monkeypatch.setattr(comparing, "WRITERS", comparing.WRITERS[:-1])


@pytest.fixture
def films(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Two films, compared once, with a stand-in for the network."""
    monkeypatch.setattr(compare_module, "_network", lambda *_: NETWORK)
    monkeypatch.setattr("gait.reading.read_clip", follow)
    for name in ("bare50", "boots55"):
        write_numbered(tmp_path / f"{name}.mp4", [Fraction(number, FPS) for number in range(SECONDS * FPS)],
                       notes={"title": name})  # fmt: skip
    sheet = put_sheet(tmp_path, *FILM_ROWS)
    result = call("compare", sheet, "-o", tmp_path / "out")
    assert result.exit_code == 0, result.output
    return tmp_path


FILM_ROWS = ("bare50.mp4,Tansy,2026-03-02,bare,yes,1.5", "boots55.mp4,Tansy,2026-03-02,boots,,1.5")


def forbid_network(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("gait.reading.read_clip", lambda *_, **__: pytest.fail("the network was run again"))


def test_another_belt_speed_needs_no_network(films: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    forbid_network(monkeypatch)
    old = record_of(films / "out" / "clips" / "boots55")
    sheet = put_sheet(films, FILM_ROWS[0], FILM_ROWS[1].replace("1.5", "3"))
    result = call("compare", sheet, "-o", films / "out")
    assert (result.exit_code, "read before" in result.stdout) == (3, True), result.output
    new = record_of(films / "out" / "clips" / "boots55")
    assert (old["trial"]["belt_m_s"], new["trial"]["belt_m_s"]) == (1.5, 3.0)
    assert new["belt"]["m_per_px"] == pytest.approx([2 * scale for scale in old["belt"]["m_per_px"]])
    assert (new["network_hash"], new["settings"]["network"]) == (old["network_hash"], old["settings"]["network"])
    assert new["notices"] == old["notices"] and "no dog was found" in old["notices"][-1]
    assert all(line["declined"] for line in lines_of(films / "out"))  # another speed is not like with like


def test_a_record_made_from_old_landmarks_is_the_record_of_a_fresh_reading(
    films: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("gait.reading.write_page", write_page)
    rows = [row.replace("1.5", "2") for row in FILM_ROWS]
    assert call("compare", put_sheet(films, *rows), "-o", films / "fresh").exit_code == 0
    forbid_network(monkeypatch)
    assert call("compare", put_sheet(films, *rows), "-o", films / "out").exit_code == 0
    for name in ("record.json", "strides.csv", "contacts.csv", "landmarks.csv", "report.html"):
        one, two = (films / out / "clips" / "boots55" / name for out in ("fresh", "out"))
        assert one.read_bytes() == two.read_bytes(), name
    assert (films / "fresh" / "comparison.csv").read_bytes() == (films / "out" / "comparison.csv").read_bytes()


def test_results_of_reading_single_clips_are_taken(films: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("gait.command.read._network", lambda *_: NETWORK)
    clips = [films / f"{name}.mp4" for name in ("bare50", "boots55")]
    assert call("read", *clips, "-o", films / "read", "--no-film").exit_code == 0
    forbid_network(monkeypatch)
    sheet = put_sheet(films, *FILM_ROWS)
    result = call("compare", sheet, "-o", films / "other", "--results", films / "read")
    assert result.exit_code == 0, result.output
    assert record_of(films / "other" / "clips" / "bare50")["trial"]["dog"] == "Tansy"
    assert (films / "other" / "comparison.csv").read_bytes() == (films / "out" / "comparison.csv").read_bytes()


def test_a_clip_of_another_name_is_known_by_its_content(films: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    forbid_network(monkeypatch)
    (films / "boots55.mp4").rename(films / "renamed.mp4")
    result = call("compare", put_sheet(films, FILM_ROWS[0], FILM_ROWS[1].replace("boots55", "renamed")), "-o",
                  films / "out")  # fmt: skip
    assert result.exit_code == 0, result.output
    assert record_of(films / "out" / "clips" / "renamed")["settings"]["reading"]["input"] == "renamed.mp4"


CHANGES = {
    "another network": lambda folder, patch: patch.setattr(NETWORK, "sha256", "other"),
    "another precision": lambda folder, patch: patch.setattr(NETWORK, "precision", "int8"),
    "another version": lambda folder, patch: patch.setattr("gait.reuse.versions", lambda: {"pawfall": "9"}),
    "the side it faces": lambda folder, patch: put_sheet(
        folder, *(f"{row},right" for row in FILM_ROWS), head=f"{SHEET_HEAD},facing"
    ),
    "the camera's rate": lambda folder, patch: put_sheet(
        folder, *(f"{row},33" for row in FILM_ROWS), head=f"{SHEET_HEAD},filmed_fps"
    ),
    "a lost table": lambda folder, patch: [
        (folder / f"out/clips/{name}/landmarks.csv").unlink() for name in ("bare50", "boots55")
    ],
    "a spoiled record": lambda folder, patch: [
        (folder / f"out/clips/{name}/record.json").write_text("{") for name in ("bare50", "boots55")
    ],
}


@pytest.mark.parametrize("change", CHANGES.values(), ids=CHANGES)
def test_what_reaches_the_landmarks_has_them_read_again(
    films: Path, monkeypatch: pytest.MonkeyPatch, change: Any
) -> None:
    seen: list[str] = []
    monkeypatch.setattr(
        "gait.reading.read_clip", lambda clip, *rest, **more: (seen.append(clip.name), follow(clip, *rest, **more))[1]
    )
    change(films, monkeypatch)
    result = call("compare", films / "sheet.csv", "-o", films / "out")
    assert result.exit_code == 0, result.output
    assert seen == ["bare50", "boots55"]


def test_films_of_the_clips_when_asked_for(films: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    forbid_network(monkeypatch)
    result = call("compare", films / "sheet.csv", "-o", films / "out", "--film-clips")
    assert result.exit_code == 0, result.output
    assert (films / "out" / "clips" / "bare50" / "film.mp4").exists()
