"""`pawfall judge` on clips with truth and on several domains at once, with the network of discs."""

import csv
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from command_line import call
from fake_network import blind_network, disc_clip, write_fake_network
from marked import mark, put, words

from gait.command.domains import named
from gait.errors import TrialError
from pose.beside import write_picture
from pose.film import FilmSettings, write_film
from pose.landmarks import PAWS
from pose.table import write_table
from pose.tracks import Tracks

pytestmark = pytest.mark.slow

FRAMES, FPS, STRIDE_S, DUTY = 108, 60.0, 0.5, 0.42
#: Phases of the trotting discs, in the order of PAWS.
PHASES = (0.0, 0.5, 0.5, 0.0)
DOGS = ("Ash", "Birch", "Cedar")


def put_clip(folder: Path, name: str, dog: str = "", *, facing: str = "right", empty: bool = False) -> None:
    """A film of trotting discs with its truth in closed form; ``dog`` = write a trial sheet that names it."""
    folder.mkdir(parents=True, exist_ok=True)
    shown = frozenset(range(FRAMES)) if empty else frozenset[int]()
    clip = disc_clip(frames=FRAMES, fps=FPS, facing=facing, empty=shown)
    write_film(((one.t_s, one.rgb) for one in clip.frames()), folder / f"{name}.mp4", settings=FilmSettings(quality=8))
    number, full = np.arange(FRAMES), np.ones((FRAMES, 6))
    write_table(Tracks(number, number / FPS, clip.truth_px, full, full < 0), folder / f"{name}.landmarks.csv")
    down = [(paw, (k - phase) * STRIDE_S) for paw, phase in zip(PAWS, PHASES, strict=True) for k in range(8)]
    told = {
        "facing": facing,
        "contacts": [{"paw": paw, "touchdown_s": at, "liftoff_s": at + DUTY * STRIDE_S} for paw, at in down],
        "strides": [{"start_s": k * STRIDE_S, "end_s": (k + 1) * STRIDE_S, "gait": "trot"} for k in range(6)],
    }
    (folder / f"{name}.truth.json").write_text(json.dumps(told))
    if dog:
        (folder / f"{name}.toml").write_text(f'dog = "{dog}"\nbelt_m_s = 2.0\n')


def put_marks(folder: Path) -> Path:
    """One marked picture of each of three dogs."""
    folder.mkdir(parents=True, exist_ok=True)
    clip = disc_clip(frames=1)
    images = []
    for number, dog in enumerate(DOGS, start=1):
        write_picture(clip.frame(0).rgb, folder / f"{number}.png")
        images.append({"id": number, "file_name": f"{number}.png", "width": 480, "height": 360, "dog": dog})
    return put(folder, words(*(mark(n, n, clip.truth_px[0]) for n in range(1, len(DOGS) + 1)), images=images))


@pytest.fixture(scope="module")
def network(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_fake_network(tmp_path_factory.mktemp("network"))


@pytest.fixture(scope="module")
def drawn(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three dogs, one walking to the left."""
    folder = tmp_path_factory.mktemp("films") / "drawn"
    for name, dog, facing in (("a", "Ash", "right"), ("b", "Birch", "left"), ("c", "Cedar", "right")):
        put_clip(folder, name, dog, facing=facing)
    return folder


@pytest.fixture(scope="module")
def result(tmp_path_factory: pytest.TempPathFactory, network: Path, drawn: Path) -> tuple[Path, str]:
    """Both kinds of domain, a second network beside the first that takes one landmark for another."""
    folder = tmp_path_factory.mktemp("judged")
    other = blind_network(folder / "other")
    marks = put_marks(folder / "marks")
    done = call("judge", f"drawn dogs={drawn}", marks, "-o", folder / "out", "--network", network,
                "--against", other, "--worst", 3)  # fmt: skip
    assert done.exit_code == 0, done.output
    return folder / "out", done.stdout


@pytest.fixture(scope="module")
def domains(result: tuple[Path, str]) -> dict[str, Any]:
    told = json.loads((result[0] / "judged.json").read_text())
    assert (told["network"], told["against"]["network"]) == ("discs", "blind")
    return {domain["name"]: domain for domain in told["domains"]}


def test_each_input_is_a_domain_of_its_own(domains: dict[str, Any]) -> None:
    kinds = {name: domain["kind"] for name, domain in domains.items()}
    assert kinds == {"drawn dogs": "clips", "marks.json": "pictures"}
    assert (domains["drawn dogs"]["clips"], domains["drawn dogs"]["frames"]) == (3, 3 * FRAMES)
    assert "whole_line" not in domains["marks.json"]
    for domain in domains.values():
        assert domain["over_dogs"]["error_percent"]["dogs"] == 3 and "low" in domain["over_dogs"]["error_percent"]
        ours, other = (side["precision"]["average_precision"]["mean"] for side in (domain, domain["against"]))
        assert ours > other
        assert domain["change"]["change_percent"]["high"] < 0
        assert domain["calibration"] and domain["curve"]["all"]


def test_a_clip_is_read_from_film_to_gait_name(domains: dict[str, Any]) -> None:
    line = domains["drawn dogs"]["whole_line"]
    whole = line["all"]
    assert whole["names"]["right"] >= 6 and whole["names"]["wrong"] == 0 and whole["names_right_percent"] == 100
    assert whole["within_5_percent"] > 95 and whole["exchanged_percent"] < 1
    assert 0.6 * whole["events_true"] < whole["events_found"] <= whole["events_true"]
    assert set(line["clips"]) == set("abc") and set(line["dogs"]) == set(DOGS)
    assert line["clips"]["b"]["dog"] == "Birch" and line["over_dogs"]["touchdown_median_ms"]["dogs"] == 3


def test_times_are_those_that_a_reading_of_the_clip_leaves(
    tmp_path: Path, network: Path, drawn: Path, domains: dict[str, Any]
) -> None:
    """contacts.csv of `pawfall read` against the closed form: a step of each paw every half second."""
    assert call("read", drawn / "a.mp4", "-o", tmp_path, "--network", network, "--no-film").exit_code == 0
    with (tmp_path / "a/contacts.csv").open() as file:
        rows = list(csv.DictReader(file))
    told = domains["drawn dogs"]["whole_line"]["clips"]["a"]
    for event, after in (("touchdown", 0.0), ("liftoff", DUTY * STRIDE_S)):
        seen = [row for row in rows if row[f"{event}_s"]]
        phases = [PHASES[PAWS.index(f"{row['side']}_{row['paw']}")] for row in seen]
        late = np.array([float(row[f"{event}_s"]) for row in seen]) - after + np.array(phases) * STRIDE_S
        late_ms = 1000 * ((late + STRIDE_S / 2) % STRIDE_S - STRIDE_S / 2)
        assert told[f"{event}_median_ms"] == pytest.approx(np.median(np.abs(late_ms)), abs=0.05)
        assert told[f"{event}_bias_ms"] == pytest.approx(np.median(late_ms), abs=0.05)
    with (tmp_path / "a/strides.csv").open() as file:
        names = [row["gait"] for row in csv.DictReader(file) if row["paw"] == "hind"]
    assert told["names"] == {"right": names.count("trot"), "wrong": 0, "unclear": names.count("unclear"),
                             "dropped": names.count("")}  # fmt: skip


def test_the_other_network_stands_beside_in_all_of_it(domains: dict[str, Any]) -> None:
    beside = domains["drawn dogs"]["against"]
    assert set(beside["whole_line"]) == set(domains["drawn dogs"]["whole_line"])
    assert beside["over_dogs"]["landmarks"]["croup"]["mean"] > 40


def test_the_page_has_a_table_for_each_domain(result: tuple[Path, str]) -> None:
    page = (result[0] / "judged.html").read_text()
    heads = [f'<h2 id="domain-{place}-h">{name}</h2>' for place, name in ((1, "drawn dogs"), (2, "marks.json"))]
    assert all(head in page for head in heads)
    assert page.count("From film to gait names") == 1
    for folder, names in (("drawn-dogs", 3), ("marks.json", 3)):
        pictures = sorted((result[0] / "worst" / folder).iterdir())
        assert len(pictures) == names and all(f"worst/{folder}/{path.name}" in page for path in pictures)


def test_worst_pictures_of_a_clip_are_no_neighbours(result: tuple[Path, str]) -> None:
    names = [path.stem.split("_", 1)[1] for path in (result[0] / "worst/drawn-dogs").iterdir()]
    times = [(name.split("-at-")[0], float(name.split("-at-")[1].removesuffix("-s"))) for name in names]
    close = [(one, other) for one in times for other in times if one != other and one[0] == other[0]]
    assert all(abs(one[1] - other[1]) >= 0.49 for one, other in close)


def test_predictions_tell_the_clip_and_the_frame(result: tuple[Path, str]) -> None:
    with (result[0] / "predictions.csv").open() as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 6 * (3 * FRAMES + 3)
    last = [row for row in rows if row["domain"] == "drawn dogs"][-1]
    assert (last["file"], last["frame"], last["landmark"]) == ("c", str(FRAMES - 1), "croup")


@pytest.mark.parametrize(
    "line",
    ["drawn dogs: 324 frames of 3 clips, read by discs", "names r/w/u/d", "all clips", "OKS-AP",
     "From blind to discs: error", "marks.json: 3 of 3 marked dogs in 3 pictures, read by discs"],
)  # fmt: skip
def test_the_terminal_says_it_shortly(result: tuple[Path, str], line: str) -> None:
    assert line in result[1]


def test_a_clip_without_a_dog_counts_as_all_missed_and_says_why(tmp_path: Path, network: Path) -> None:
    put_clip(tmp_path / "films", "bare")
    put_clip(tmp_path / "films", "empty", empty=True)
    done = call("judge", tmp_path / "films", "-o", tmp_path / "out", "--network", network, "--worst", 1)
    assert done.exit_code == 0, done.output
    [domain] = json.loads((tmp_path / "out/judged.json").read_text())["domains"]
    assert set(domain["not_read"]) == {"empty"} and "no dog" in domain["not_read"]["empty"].lower()
    assert 45 < domain["whole_line"]["all"]["within_5_percent"] < 51
    # without trial sheets nobody knows whose the clips are: they count as one dog
    assert set(domain["over_dogs"]["dogs"]) == {"films"} and "low" not in domain["over_dogs"]["error_percent"]
    assert domain["dog_not_told"] == 2 and "2 clips do not say whose they are and count as one dog" in done.stdout
    assert "2 clips do not say whose they are and count as one dog." in (tmp_path / "out/judged.html").read_text()
    assert "empty could not be read by discs" in (tmp_path / "out/judged.html").read_text()


def test_a_folder_without_truth_ends_in_one_line(tmp_path: Path, network: Path) -> None:
    (tmp_path / "films").mkdir()
    done = call("judge", tmp_path / "films", "-o", tmp_path / "out", "--network", network)
    assert done.exit_code == 2 and "no clip with its truth" in done.stderr and done.stderr.count("\n") == 1
    assert not (tmp_path / "out").exists()


def test_the_gate_of_adoption_takes_clips_too(
    tmp_path: Path, network: Path, drawn: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("pose.networks.networks_folder", lambda: tmp_path / "networks")
    monkeypatch.setattr("gait.command.adopt.networks_folder", lambda: tmp_path / "networks")
    other = blind_network(tmp_path / "other")
    monkeypatch.setattr("gait.command.adopt.current_network", lambda: other)
    done = call("adopt", network, "--better", put_marks(tmp_path / "marks"), "--no-worse", f"films={drawn}")
    assert done.exit_code == 0, done.output
    assert "films: error " in done.stdout and f"3 dogs, {3 * FRAMES} pictures" in done.stdout


@pytest.mark.parametrize(
    ("given", "names"),
    [
        (["a/marks.json"], ["marks.json"]),
        (["drawn dogs=clips", "b/marks.json"], ["drawn dogs", "marks.json"]),
        (["a/marks.json", "b/marks.json"], ["a/marks.json", "b/marks.json"]),
        (["x=a/marks.json", "b/marks.json"], ["x", "marks.json"]),
    ],
    ids=["a file", "a name before it", "two of one name", "one of them named"],
)
def test_names_of_domains(given: list[str], names: list[str]) -> None:
    assert [domain.name for domain in named(given)] == names


def test_a_path_with_an_equals_sign_is_no_name(tmp_path: Path) -> None:
    (tmp_path / "a=b").mkdir()
    [domain] = named([tmp_path / "a=b"])
    assert (domain.name, domain.path) == ("a=b", tmp_path / "a=b")


def test_two_domains_of_one_name_are_refused() -> None:
    with pytest.raises(TrialError, match=r"both called X; give names"):
        named(["x=a.json", "X=b.json"])
