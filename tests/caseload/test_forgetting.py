"""A dog that is forgotten leaves nothing behind, and what is left is found."""

import json
import shutil
from pathlib import Path

import pytest
from caseload_maker import add_now, planned, put_films, put_sheet, read_all
from click.testing import Result
from command_line import call
from sqlalchemy import select

from gait.caseload import listing
from gait.caseload.belongings import belongings
from gait.caseload.errors import CaseloadError
from gait.caseload.proving import look_for
from gait.caseload.store import FILE, Store
from gait.caseload.tables import Forgotten, Note
from gait.hashing import content_hash
from gait.sheets.cells import write_cells

ROWS = {"t1": "Tansy,2026-03-02,bare,yes,2", "t2": "Tansy,2026-03-09,bare,yes,2", "b1": "Brock,2026-03-02,bare,yes,2"}


def put_beside(folder: Path, name: str, words: str) -> None:
    dog, date, condition, _, speed = words.split(",")
    (folder / f"{name}.toml").write_text(
        f'dog = "{dog}"\ndate = {date}\ncondition = "{condition}"\nbaseline = true\nbelt_m_s = {speed}.0\n'
    )


@pytest.fixture
def films(tmp_path: Path) -> Path:
    """Two films of Tansy and one of Brock, each with its sheet beside it."""
    folder = put_films(tmp_path / "in", ROWS)[0].parent
    for name, words in ROWS.items():
        put_beside(folder, name, words)
    return folder


@pytest.fixture
def full(store: Store, films: Path) -> Store:
    """The films read, and pages of all dogs made."""
    read_all(store, planned(store, films))
    (store.home / "morning.html").write_text("<p>Tansy has to be filmed again</p>")
    (store.home / "morning").mkdir()
    (store.home / "morning" / "tansy.html").write_text("<p>Tansy</p>")
    return store


def forget(store: Store, url: str | None, *words: object) -> Result:
    where = ["--home", store.home, *(["--database", url] if url else [])]
    return call("caseload", "forget", *words, *where)


def test_nothing_is_left(full: Store, url: str | None, films: Path) -> None:
    result = forget(full, url, "tansy", "--yes")
    assert result.exit_code == 0, result.output
    assert "nothing is left" in result.stdout
    assert sorted(path.name for path in films.iterdir()) == ["b1.mp4", "b1.toml"]
    assert [line.name for line in listing.clips(full)] == ["b1.mp4"]
    assert [line.dog for line in listing.dogs(full)] == ["Brock"]
    assert len(list((full.home / "clips").iterdir())) == 1
    assert not [path for path in full.home.glob("morning*")]


def test_the_file_of_the_store_holds_no_trace(file_store: Store, films: Path) -> None:
    read_all(file_store, planned(file_store, films))
    before = b"".join(path.read_bytes() for path in file_store.home.glob(f"{FILE}*"))
    assert b"Tansy" in before
    forget(file_store, None, "Tansy", "--yes")
    after = b"".join(path.read_bytes() for path in file_store.home.glob(f"{FILE}*"))
    assert b"tansy" not in after.lower() and b"Brock" in after


def test_what_was_removed_is_told_without_a_name(full: Store, url: str | None, films: Path) -> None:
    hashes = sorted(content_hash(films / f"{name}.mp4") for name in ("t1", "t2"))
    forget(full, url, "Tansy", "--yes")
    with full.reading() as connection:
        [what] = connection.scalars(select(Forgotten.what)).all()
    assert what.pop("proof")["left"] == 0
    assert what == {"clips": 2, "records": 2, "results": 2, "films": 4, "frames": 0, "sha256": hashes}


def test_a_film_that_comes_back_is_not_taken_in_unless_asked(full: Store, url: str | None, films: Path) -> None:
    shutil.copy(films / "t1.mp4", films.parent / "kept.mp4")
    forget(full, url, "Tansy", "--yes")
    (films.parent / "kept.mp4").rename(films / "other.mp4")
    added = add_now(full, films)
    assert (added.new, added.forgotten) == (0, 1)
    assert add_now(full, films, again=True).new == 1


def test_films_may_be_kept(full: Store, url: str | None, films: Path) -> None:
    result = forget(full, url, "Tansy", "--yes", "--keep-sources")
    assert result.exit_code == 0, result.output
    assert (films / "t1.mp4").exists() and (films / "t1.toml").exists()
    assert [line.name for line in listing.clips(full)] == ["b1.mp4"]


def test_nothing_happens_without_a_yes(full: Store, url: str | None, films: Path) -> None:
    result = forget(full, url, "Tansy")  # nobody answers
    assert result.exit_code != 0
    assert (films / "t1.mp4").exists() and len(listing.clips(full)) == 3
    assert f"film or its sheet: {films / 't1.mp4'}" in result.stdout


def test_an_unknown_dog(full: Store) -> None:
    with pytest.raises(CaseloadError, match=r"no dog 'Ember'\. It has: Brock, Tansy"):
        belongings(full, "Ember")


def test_copies_results_and_frames_elsewhere(full: Store, url: str | None, films: Path, tmp_path: Path) -> None:
    away = tmp_path / "away"
    (away / "results" / "t1").mkdir(parents=True)
    shutil.copy(films / "t1.mp4", away / "copy.mp4")
    digest = content_hash(films / "t1.mp4")
    told = {"settings": {"reading": {"source_sha256": digest}}, "trial": {"dog": "Tansy"}}
    (away / "results" / "t1" / "record.json").write_text(json.dumps(told))
    put_marks(away / "marks", {1: ("Tansy", digest), 2: ("Brock", "0" * 64), 3: ("TANSY", "")})
    result = forget(full, url, "Tansy", "--yes", "--also", away)
    assert result.exit_code == 0, result.output
    assert sorted(str(path.relative_to(away)) for path in away.rglob("*") if path.is_file()) == [
        "marks/edits-anna.jsonl", "marks/picked.json", "marks/pictures/2.png",
    ]  # fmt: skip
    left = json.loads((away / "marks" / "picked.json").read_text())
    assert [entry["id"] for entry in left["images"]] == [2]
    assert [entry["image_id"] for entry in left["annotations"]] == [2]
    assert (away / "marks" / "edits-anna.jsonl").read_text() == '{"image_id": 2}\n'


def put_marks(folder: Path, pictures: dict[int, tuple[str, str]]) -> None:
    """A folder of picked frames, as far as forgetting looks into it."""
    (folder / "pictures").mkdir(parents=True)
    images, annotations = [], []
    for number, (dog, digest) in pictures.items():
        (folder / "pictures" / f"{number}.png").write_bytes(b"a picture")
        images.append({"id": number, "file_name": f"pictures/{number}.png", "dog": dog, "source_sha256": digest})
        annotations.append({"id": number, "image_id": number})
    (folder / "picked.json").write_text(json.dumps({"images": images, "annotations": annotations}))
    (folder / "edits-anna.jsonl").write_text('{"image_id": 1}\n{"image_id": 2}\n')


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("notes.txt", b"ring Tansy's owner"),
        ("list.csv", b"dog,date\nTANSY,2026-03-02\n"),
        ("tansy.pdf", b"%PDF"),
        ("copy.mov", None),
        ("page.json", json.dumps({"dog": "Tansy"}).encode()),
    ],
    ids=["a note", "a sheet", "the name of a file", "a copy of a film", "a result"],
)
def test_what_is_left_is_told(full: Store, url: str | None, films: Path, name: str, content: bytes | None) -> None:
    (films / name).write_bytes((films / "t1.mp4").read_bytes() if content is None else content)
    result = forget(full, url, "Tansy", "--yes")
    assert result.exit_code == 3
    assert f"{films / name}: " in result.stderr
    assert "1 places still hold something of it" in result.stderr


def test_a_workbook_and_a_row_of_the_store_are_looked_through(full: Store, url: str | None, films: Path) -> None:
    write_cells([["clip", "dog"], ["t1.mp4", "Tansy"]], films / "sheet-2026.xlsx")
    with full.writing() as session:
        session.add(Note(name="memo", value={"words": "ask about Tansy"}))
    result = forget(full, url, "Tansy", "--yes")
    assert result.exit_code == 3
    assert "sheet-2026.xlsx: the name" in result.stderr and "store, table note: the name" in result.stderr


def test_names_are_looked_for_as_whole_words_however_they_are_spelt(file_store: Store, tmp_path: Path) -> None:
    folder = tmp_path / "in"
    folder.mkdir()
    (folder / "a.txt").write_text("the maximum of Bär-lauch, dog  01, dog 011, Bar")
    (folder / "b.json").write_text(json.dumps({"dog": "Bär"}))
    for dog, found in {"Max": [], "Bär": ["a.txt", "b.json"], "Dog 01": ["a.txt"], "Dog 1": []}.items():
        proof = look_for(file_store, dog, {}, [folder])
        assert [Path(place).name for place, _ in proof.left] == found, dog
        assert proof.files == 2


def test_a_page_is_read_without_its_pictures(file_store: Store, tmp_path: Path) -> None:
    (tmp_path / "page.html").write_text('<img src="data:image/png;base64,AA+Max/BB=="><p>Brock</p>')
    assert look_for(file_store, "Max", {}, [tmp_path / "page.html", tmp_path]).left == ()
    assert look_for(file_store, "Brock", {}, [tmp_path]).left


def test_what_was_begun_can_be_ended(full: Store, url: str | None, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file that cannot be removed: the dog stays in the store, and removing it again ends it."""
    true_remove = shutil.rmtree
    monkeypatch.setattr(shutil, "rmtree", lambda path: (_ for _ in ()).throw(PermissionError(13, "denied", str(path))))
    assert forget(full, url, "Tansy", "--yes").exit_code == 2
    assert "Tansy" in [line.dog for line in listing.dogs(full)]
    monkeypatch.setattr(shutil, "rmtree", true_remove)
    assert forget(full, url, "Tansy", "--yes").exit_code == 0


def test_a_sheet_that_still_names_the_dog_does_not_bring_it_back(full: Store, url: str | None, films: Path) -> None:
    put_sheet(films, "b1.mp4,Brock,2026-03-02,bare,yes,2")
    forget(full, url, "Tansy", "--yes")
    add_now(full, films)
    assert [line.dog for line in listing.dogs(full)] == ["Brock"]
