"""The one camera that a desk watches: opened, read and recorded here, whether or not a page is open."""

import threading
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

import cv2

from gait.caseload.adding import add
from gait.caseload.errors import CaseloadError
from gait.caseload.listing import clips
from gait.caseload.queue import is_paused
from gait.command.edge import EXPECTED, fault, message
from gait.desk.errors import DeskError
from gait.desk.room import Desk
from gait.live import LiveReading, Now, Seen
from gait.livewords import gait_words, latency_words, place_words, topline_words
from gait.trial import Trial
from gait.watch import Recorded, Watch, start_recording
from pose.camera import Camera, open_camera
from pose.draw import draw_landmarks, fit_width
from pose.network import Network, NetworkSettings

#: Folder of recorded clips within the desk's footage.
FOLDER: Final = "live"
#: A file in the desk's own folder while a camera is watched, and what it says when the reading waits for that.
MARK: Final = "live"
HELD: Final = "reading held"
#: px and percent: what a page shows is not what is recorded.
SHOWN_PX: Final = 960
JPEG_QUALITY: Final = 80
#: s between two looks whether pictures still come.
EVERY_S: Final = 0.5


@dataclass(slots=True)
class LiveRoom:
    """What is being watched at a desk, and what became of the last recording. Safe to be asked from any thread.

    left   what is left of the last watching, in words; clip_id: its clip in the caseload, 0 = none
    """

    desk: Desk
    watch: Watch | None = None
    left: str = ""
    clip_id: int = 0
    _network: Network | None = None
    _jpeg: tuple[Seen | None, bytes] = (None, b"")
    _mind: threading.Thread | None = None
    _lock: threading.Lock = field(default_factory=threading.Lock)

    @property
    def running(self) -> bool:
        """Whether a camera is being watched, or the end of it is being written."""
        return self.watch is not None

    def start(self, name: str, trial: Trial, *, films: bool = False) -> None:
        """Open a camera and begin. Raises DeskError when one is watched already, ClipError when it cannot be opened."""
        with self._lock:
            if self.watch is not None:
                raise DeskError(f"{self.watch.camera.name} is being watched already; end that first.", 409)
            network = self._loaded()
            camera = open_camera(name, films=films)
            self.left, self.clip_id = "", 0
            self._hold_reading()
            self.watch = self._begun(camera, network, trial)
            self._mind = threading.Thread(target=self._until_end, args=(self.watch,), daemon=True)
            self._mind.start()

    def stop(self) -> None:
        """End the watching, and come back when the clip is in the caseload."""
        watch, mind = self.watch, self._mind
        if watch is not None:
            watch.camera.stop()
        if mind is not None:
            mind.join()

    def facts(self) -> Mapping[str, Any]:
        """What the page shows."""
        watch = self.watch
        if watch is None:
            return {"running": False, "left": self.left, "clip_id": self.clip_id}
        reading, recorder = watch.reading, watch.recorder
        now, seen = reading.now, reading.seen
        return {
            "running": True,
            "camera": watch.camera.name,
            "picture": f"{seen.t_s:.4f}" if seen else "",
            "pictures": watch.pictures,
            "written": recorder.written if recorder else 0,
            "lost": recorder.lost if recorder else 0,
            "trouble": " ".join(filter(None, [recorder.failed if recorder else "", reading.failed])),
            "said": [one.words for one in reversed(reading.said)],
            "latency": latency_words(reading.latency),
            "dropped": reading.dropped,
            **_now_words(now),
        }

    def picture(self) -> bytes:
        """The newest picture with its landmarks as a JPEG; b"" when there is none."""
        watch = self.watch
        seen = watch.reading.seen if watch else None
        if seen is None:
            return b""
        if self._jpeg[0] is not seen:
            self._jpeg = seen, _jpeg(seen)
        return self._jpeg[1]

    def _loaded(self) -> Network:
        wanted = self.desk.wanted
        self._network = self._network or Network.load(wanted.network, NetworkSettings(precision=wanted.precision))
        return self._network

    def _begun(self, camera: Camera, network: Network, trial: Trial) -> Watch:
        try:
            recorder = start_recording(self.desk.footage / FOLDER, trial, camera.name)
        except OSError:
            camera.stop()
            self._release_reading()
            raise
        return Watch(camera, LiveReading(network, trial), recorder)

    def _hold_reading(self) -> None:
        """Clips that wait would take the processor from the camera."""
        paused, mark = is_paused(self.desk.store), self.desk.folder / MARK
        mark.parent.mkdir(parents=True, exist_ok=True)
        mark.write_text("" if paused else HELD, encoding="utf-8")
        if not paused:
            self.desk.night.pause(True)

    def _release_reading(self) -> None:
        release_reading(self.desk)

    def _until_end(self, watch: Watch) -> None:
        """Wait until no more pictures come, by whatever cause, and take the clip in."""
        while watch.running:
            watch.wait(EVERY_S)
        try:
            left = watch.end()
            self.left, self.clip_id = self._taken_in(watch, left)
            self._release_reading()
        except EXPECTED as error:
            self.left = message(error)
        except Exception as error:  # the page goes on, and says what is wrong
            self.left = fault(error)
        finally:
            self.watch = None

    def _taken_in(self, watch: Watch, left: Recorded) -> tuple[str, int]:
        """What became of the recording in words, and the number of its clip in the caseload."""
        words = [watch.camera.ending, left.failed, watch.reading.failed]
        if left.lost:
            words.append(f"{left.lost} of {watch.pictures} pictures could not be recorded.")
        if left.path is None:
            return " ".join(filter(None, [*words, "No picture came; nothing is recorded."])), 0
        try:
            add(self.desk.store, left.path.parent, settle_s=0.0)
            self.desk.night.plan()
        except CaseloadError as error:
            words.append(f"The clip is kept as {left.path} but could not be added to the caseload: {message(error)}")
        found = [line.clip_id for line in clips(self.desk.store) if line.path == str(left.path.resolve())]
        words.append(f"{left.path.name} is recorded, {left.pictures} pictures.")
        return " ".join(filter(None, words)), found[0] if found else 0


def release_reading(desk: Desk) -> None:
    """Go on with the reading, if it was a camera that it waited for."""
    mark = desk.folder / MARK
    if mark.exists():
        if mark.read_text(encoding="utf-8") == HELD:
            desk.night.pause(False)
        mark.unlink()


def take_up(desk: Desk) -> None:
    """What a desk that was killed while it watched left: its recording is taken in, and the reading goes on."""
    if (desk.folder / MARK).exists() and (desk.footage / FOLDER).is_dir():
        add(desk.store, desk.footage / FOLDER, settle_s=0.0)
    release_reading(desk)


def _now_words(now: Now) -> dict[str, Any]:
    """What is known now, as a page shows it; place: 0..1 from the left, None = not known."""
    place = now.back.place
    (gait, gait_more), (topline, topline_more) = gait_words(now), topline_words(now)
    return {
        "t_s": None if now.t_s != now.t_s else round(now.t_s, 2),
        "dog": now.dog,
        "gait": gait,
        "gait_more": gait_more,
        "sure": now.sure and now.dog,
        "topline": topline,
        "topline_more": topline_more,
        "place_words": place_words(now),
        "place": None if place != place else round(place, 4),
        "latency_ms": None if now.latency_ms != now.latency_ms else round(now.latency_ms),
    }


def _jpeg(seen: Seen) -> bytes:
    picture, scale = fit_width(seen.rgb, SHOWN_PX)
    drawn = draw_landmarks(picture, seen.xy_px * scale, seen.hidden)
    made, data = cv2.imencode(".jpg", drawn[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])
    return data.tobytes() if made else b""
