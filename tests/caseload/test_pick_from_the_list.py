"""The call of `pawfall pick` that the morning list prints does what it says."""

import shlex
from contextlib import closing
from pathlib import Path

import pytest
from command_line import call
from sqlalchemy import insert, select

from gait.caseload.short_list import short_list
from gait.caseload.store import open_store
from gait.caseload.tables import FindingRow, RecordRow
from gait.report.caseload.pages import pick_words

pytestmark = pytest.mark.slow
FILM = Path(__file__).parents[2] / "samples" / "brock_walk_bare.mp4"


def test_the_printed_call_takes_frames(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    home, films = tmp_path / "caseload", tmp_path / "films of today"
    films.mkdir()
    (films / FILM.name).symlink_to(FILM)
    assert call("caseload", "add", films, "--home", home).exit_code == 0
    assert call("caseload", "run", "--home", home).exit_code == 0
    with closing(open_store(home)) as store:
        with store.writing() as session:
            record = session.scalars(select(RecordRow.id)).one()
            row = {"kind": "unsure", "rank": 6.0, "words": "Sides unsure.", "record_id": record}
            session.execute(insert(FindingRow), [row])
        words = pick_words(short_list(store))
    monkeypatch.chdir(home)
    program, *call_of = shlex.split(words)
    told = call(*call_of)
    assert (program, told.exit_code) == ("pawfall", 0), told.output
    assert list((home / "marks" / "pictures").iterdir())
