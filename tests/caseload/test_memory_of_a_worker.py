"""What reading a clip of full size takes of memory."""

from pathlib import Path
from typing import Any

import av
import pytest

from gait.caseload.crew import LocalCrew, read_alone
from gait.caseload.guard import Limits
from gait.caseload.jobs import Job
from gait.caseload.keys import wanted_of
from gait.hashing import content_hash

SAMPLE = Path(__file__).parents[2] / "samples" / "tansy_walk_boots.mp4"
#: MiB, for films of 1920 x 1080 px.
MOST_MIB = 1024


def enlarged(path: Path, width: int, height: int) -> Path:
    """The sample in another size."""
    with av.open(str(SAMPLE)) as small, av.open(str(path), "w") as large:
        rate = small.streams.video[0].average_rate
        stream: Any = large.add_stream("libx264", rate=rate, options={"preset": "ultrafast"})
        stream.width, stream.height, stream.pix_fmt = width, height, "yuv420p"
        for frame in small.decode(video=0):
            large.mux(stream.encode(frame.reformat(width, height)))
        large.mux(stream.encode(None))
    return path


@pytest.mark.slow
@pytest.mark.parametrize("precision", ["int8", "fp32"])
def test_a_film_of_full_size_takes_less_than_a_gibibyte(tmp_path: Path, precision: str) -> None:
    film, wanted = enlarged(tmp_path / "large.mp4", 1920, 1080), wanted_of()
    crew = LocalCrew(1, Limits(memory_mib=MOST_MIB))
    given = {"network": str(wanted.network), "network_hash": wanted.network_hash, "precision": precision}
    of = (str(film),), content_hash(film), str(tmp_path), "clips/one/key", {"clip": "large"}, {"film": False}
    job = Job(1, *of, **given)  # type: ignore[arg-type]
    outcome = read_alone(job, crew, lambda _: None)
    peak_mib = crew.guards[0].peak_mib
    crew.close()
    assert outcome.ending == "read", outcome.words
    assert 200 < peak_mib < MOST_MIB
    print(f"{precision}: {peak_mib:.0f} MiB")  # noqa: T201 (shown with -s)
