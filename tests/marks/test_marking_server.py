"""What the marking page is served: one person's work, kept before it is confirmed, to this machine alone."""

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from command_line import call
from film_maker import number_in, write_numbered
from marking_maker import make_folder
from starlette.testclient import TestClient

from pose.beside import write_picture
from pose.coco import read_marks
from pose.errors import MarksError
from pose.landmarks import LANDMARKS
from pose.pictures import load_picture
from training.marks.server import HOST, SAFE, build_app, listen
from training.marks.store import open_marking

ROOT = Path(__file__).parent.parent.parent
HERE = f"http://{HOST}"


@pytest.fixture
def film(tmp_path: Path) -> Path:
    return write_numbered(tmp_path / "tansy.mp4", [n / 25 for n in range(40)])


@pytest.fixture
def folder(tmp_path: Path, film: Path) -> Path:
    return make_folder(tmp_path / "marks", film, (2, 21, 39))


@pytest.fixture
def client(folder: Path) -> Iterator[TestClient]:
    with TestClient(build_app(open_marking(folder, "anna")), base_url=HERE) as opened:
        yield opened


def finish(client: TestClient, row: int = 0, **changes: Any) -> dict[str, Any]:
    given = client.get("/work").json()
    picture = given["pictures"][row]
    after = (picture["state"] or picture["start"]) | {"finished": True}
    step = {"op": f"op-{row}", "kind": "edit", "image_id": picture["id"], "before": picture["state"], "after": after}
    return step | {"work": given["key"]} | changes


def test_the_work_tells_everything_that_the_page_starts_from(client: TestClient) -> None:
    given = client.get("/work").json()
    assert [one["name"] for one in given["landmarks"]] == list(LANDMARKS)
    assert "the middle of the foot" in given["landmarks"][0]["guide"].lower()
    assert (given["marker"], given["folder"], given["history"]) == ("anna", "marks", [])
    first, _, last = given["pictures"]
    assert (first["notes"]["frame"], first["width"], first["state"]) == (2, 96, None)
    assert first["start"]["points"][0] == [66.0, 50.0, 2] and last["start"]["points"] == [None] * 6
    assert len(first["score"]) == 6


def test_a_step_is_on_the_disk_before_it_is_confirmed(client: TestClient, folder: Path) -> None:
    step = finish(client)
    answer = client.post("/edits", json=step)
    assert (answer.status_code, answer.json()) == (200, {"kept": "op-0"})
    assert len(read_marks(folder / "marks-anna.json")) == 1
    assert client.post("/edits", json=step).json() == {"kept": "op-0"}
    given = client.get("/work").json()
    assert len(given["history"]) == 1 and given["pictures"][0]["state"]["finished"]


def test_the_time_is_the_servers(client: TestClient) -> None:
    client.post("/edits", json=finish(client, at="1900-01-01T00:00:00+00:00"))
    assert client.get("/work").json()["history"][0]["at"].startswith("20")


@pytest.mark.parametrize(
    ("changes", "status", "told"),
    [
        ({"before": {}}, 400, "points came as None"),
        ({"image_id": 9}, 400, "picture 9"),
        ({"kind": "taken"}, 400, "pawfall marks import"),
        ({"work": "elsewhere:ben"}, 503, "is for the work of anna"),
    ],
    ids=["no state", "unknown picture", "kind of the store", "work of another person"],
)
def test_what_cannot_be_kept_is_refused_and_changes_nothing(
    client: TestClient, folder: Path, changes: dict[str, Any], status: int, told: str
) -> None:
    answer = client.post("/edits", json=finish(client, **changes))
    assert answer.status_code == status and told in answer.json()["error"]
    assert sorted(item.name for item in folder.iterdir()) == ["picked.json", "pictures"]


def test_a_step_out_of_step_is_a_conflict(client: TestClient) -> None:
    step = finish(client)
    client.post("/edits", json=step)
    answer = client.post("/edits", json=step | {"op": "other"})
    assert answer.status_code == 409 and "load the page again" in answer.json()["error"]


def test_a_disk_that_takes_nothing_is_told_and_asked_again_later(
    client: TestClient, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(file: int) -> None:
        raise OSError(28, "No space left on device")

    step = finish(client)
    with monkeypatch.context() as patch:
        patch.setattr("os.fsync", full)
        answer = client.post("/edits", json=step)
    assert answer.status_code == 507 and "No space left on device" in answer.json()["error"]
    assert client.get("/work").json()["history"] == []
    assert client.post("/edits", json=step).status_code == 200
    assert open_marking(folder, "anna").states.keys() == {1}


def test_marks_that_could_not_be_written_are_written_when_the_step_comes_again(
    client: TestClient, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    step = finish(client)
    with monkeypatch.context() as patch:
        patch.setattr("training.marks.store.write_marks", full)
        assert client.post("/edits", json=step).status_code == 507
    assert not (folder / "marks-anna.json").exists()
    assert client.post("/edits", json=step).status_code == 200
    assert len(read_marks(folder / "marks-anna.json")) == 1


@pytest.mark.parametrize("body", [b"", b"{", b"\xff"], ids=["empty", "broken", "no text"])
def test_what_is_no_json_is_refused(client: TestClient, body: bytes) -> None:
    assert client.post("/edits", content=body, headers={"content-type": "application/json"}).status_code == 400


def test_forms_of_other_sites_are_refused(client: TestClient) -> None:
    assert client.post("/edits", data={"op": "a"}).status_code == 415
    assert client.post("/edits", json=finish(client), headers={"origin": "http://elsewhere.test"}).status_code == 403
    assert client.post("/edits", json=finish(client), headers={"origin": HERE}).status_code == 200


@pytest.mark.parametrize("host", ["elsewhere.test", "elsewhere.test:8640", "127.0.0.1.elsewhere.test", "192.168.1.5"])
def test_only_this_machine_is_answered(client: TestClient, host: str) -> None:
    assert client.get("/work", headers={"host": host}).status_code == 400
    assert client.get("/work", headers={"host": "localhost:8640"}).status_code == 200


@pytest.mark.parametrize("path", ["/", "/work", "/page/main.js", "/pictures/1", "/pictures/1/frames/1", "/pictures/9"])
def test_every_answer_forbids_what_is_outside(client: TestClient, path: str) -> None:
    answer = client.get(path)
    assert SAFE.items() <= {name: answer.headers.get(name) for name in SAFE}.items()


def test_pictures_come_as_they_lie_there(client: TestClient, folder: Path) -> None:
    assert client.get("/pictures/1").content == (folder / "pictures/tansy-000002.png").read_bytes()
    assert client.get("/pictures/9").status_code == 404
    (folder / "pictures/tansy-000002.png").unlink()
    assert "is not there" in client.get("/pictures/1").json()["error"]


def test_nothing_else_of_the_folder_is_served(client: TestClient, folder: Path) -> None:
    (folder / "marks-ben.json").write_text("{}")
    for path in ("/marks-ben.json", "/page/../marks-ben.json", "/page/%2e%2e/server.py", "/pictures/marks-ben.json"):
        assert client.get(path).status_code == 404


def shown(client: TestClient, image_id: int, offset: int) -> int:
    answer = client.get(f"/pictures/{image_id}/frames/{offset}")
    assert answer.status_code == 200, answer.text
    return number_in(cv2.imdecode(np.frombuffer(answer.content, np.uint8), cv2.IMREAD_COLOR))


def test_neighbours_are_the_frames_of_the_clip(client: TestClient) -> None:
    assert [shown(client, 2, offset) for offset in (-6, -1, 0, 1, 18)] == [15, 20, 21, 22, 39]
    assert [shown(client, 1, offset) for offset in (-2, 1)] == [0, 3]


@pytest.mark.parametrize(("image_id", "offset", "told"), [(1, -3, "begins here"), (3, 1, "ends here"), (1, "x", "int")])
def test_where_there_is_no_frame_the_reason_is_told(
    client: TestClient, image_id: int, offset: int | str, told: str
) -> None:
    answer = client.get(f"/pictures/{image_id}/frames/{offset}")
    assert answer.status_code == 404 and told in answer.json()["error"]


def test_a_clip_that_moved_is_found_by_its_name(folder: Path, film: Path, tmp_path: Path) -> None:
    (tmp_path / "elsewhere").mkdir()
    film.rename(tmp_path / "elsewhere" / film.name)
    with TestClient(build_app(open_marking(folder, "anna")), base_url=HERE) as lost:
        assert "say where with --clips" in lost.get("/pictures/1/frames/1").json()["error"]
    with TestClient(build_app(open_marking(folder, "anna"), [tmp_path / "elsewhere"]), base_url=HERE) as found:
        assert shown(found, 1, 1) == 3


def test_a_clip_that_goes_while_it_is_looked_at_is_told(client: TestClient, film: Path) -> None:
    assert shown(client, 1, 1) == 3
    film.unlink()
    assert "say where with --clips" in client.get("/pictures/1/frames/20").json()["error"]


def test_another_clip_of_the_same_name_is_not_taken_for_it(client: TestClient, film: Path) -> None:
    write_numbered(film, [n / 25 for n in range(5, 40)], key_every=1)
    write_picture(np.zeros((64, 96, 3), np.uint8), film.parent / "marks/pictures/tansy-000021.png")
    assert "is not this picture" in client.get("/pictures/2/frames/1").json()["error"]


def test_a_turned_clip_is_turned_as_its_picture_was(client: TestClient, folder: Path) -> None:
    picture = folder / "pictures/tansy-000021.png"
    write_picture(np.ascontiguousarray(np.rot90(load_picture(picture))), picture)
    answer = client.get("/pictures/2/frames/1")
    turned = cv2.imdecode(np.frombuffer(answer.content, np.uint8), cv2.IMREAD_COLOR)
    assert number_in(np.ascontiguousarray(np.rot90(turned, -1))) == 22


def test_a_port_in_use_is_told() -> None:
    with listen(0) as taken:
        taken.listen()
        assert taken.getsockname()[0] == HOST
        with pytest.raises(MarksError, match="is taken"):
            listen(taken.getsockname()[1])


def test_marking_needs_no_torch() -> None:
    modules = ", ".join(f"training.marks.{name}" for name in ("server", "agreement", "check", "transfer"))
    code = f"import sys, {modules}; sys.exit(bool({{'torch', 'albumentations'}} & sys.modules.keys()))"
    assert subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=False).returncode == 0


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("mark", "nowhere", "--marker", "anna"), "holds no picked.json"),
        (("mark", "nowhere", "--marker", "../a"), "cannot be used"),
        (("mark", "nowhere"), "Missing option '--marker'"),
    ],
    ids=["no folder", "odd name", "no name"],
)
def test_the_command_that_cannot_begin_says_so_in_one_line(words: tuple[str, ...], told: str) -> None:
    done = call(*words)
    assert done.exit_code == 2 and told in done.stderr and len(done.stderr.splitlines()) == 1


def test_the_command_says_where_the_page_is_and_that_a_port_is_taken(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    served: list[object] = []
    monkeypatch.setattr("training.marks.server.serve", lambda app, opened: served.append(opened.close()))
    done = call("mark", folder, "--marker", "anna", "--no-browser", "--port", 0)
    assert done.exit_code == 0 and len(served) == 1
    assert "0 of 3 pictures finished by anna" in done.stdout and f"http://{HOST}:" in done.stdout
    with listen(0) as taken:
        taken.listen()
        again = call("mark", folder, "--marker", "anna", "--no-browser", "--port", taken.getsockname()[1])
    assert again.exit_code == 2 and "is taken" in again.stderr
