"""The GStreamer element ``pawfall``: video in, the same frames out, landmarks and events told on the way.

Frames are held for ``delay`` s, so that each leaves with its own landmarks; with a delay of 0 they pass at once and
carry those of an earlier picture. Where the source is live and the queue is full, every second picture is analysed, or
third and so on, all frames go on all the same, and a message says how many were not analysed. Where it is not, frames
wait for the analysis.

On the bus: element messages ``pawfall-landmarks``, ``pawfall-event`` and ``pawfall-skipped``. On the buffer: a
GstCustomMeta "pawfall" with the size of the picture that was read, the same landmarks, and an array of the events that
became known since the frame before.
"""

import json
import time
from collections import deque
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final, TextIO

import gi
import numpy as np

gi.require_version("Gst", "1.0")
gi.require_version("GstBase", "1.0")
gi.require_version("GstVideo", "1.0")
from gi.repository import GLib, GObject, Gst, GstBase, GstVideo  # noqa: E402

from gait.errors import GaitError  # noqa: E402
from gait.plugin import meta  # noqa: E402
from gait.plugin.analysis import (  # noqa: E402
    MOST_KEPT,
    TICK_S,
    Analysis,
    Found,
    Pair,
    Picture,
    Thinning,
    event_as_dict,
)  # fmt: skip
from gait.stream import Event, GaitStream  # noqa: E402
from gait.trial import Facing, Trial  # noqa: E402
from pose.draw import WHITE, draw_landmarks, draw_words  # noqa: E402
from pose.errors import PoseError  # noqa: E402
from pose.network import Network  # noqa: E402
from pose.networks import current_network  # noqa: E402
from pose.stream import LandmarkStream  # noqa: E402

Gst.init(None)

NAME: Final = "pawfall"
meta.register(NAME)
#: Bytes of red, green and blue within a pixel, by the start of the format's name.
CHANNELS: Final = {"RGB": slice(0, 3), "BGR": slice(2, None, -1)}
CAPS: Final = Gst.Caps.from_string("video/x-raw,format=(string){RGB,BGR,RGBx,BGRx,RGBA,BGRA}")
#: Events before which held frames have to leave, and after all but the last of which a new reading begins.
BREAKS: Final = (Gst.EventType.STREAM_START, Gst.EventType.CAPS, Gst.EventType.SEGMENT, Gst.EventType.EOS)
#: s between two messages of one kind about work that was dropped or failed.
APART_S: Final = 1.0
SPARSE: Final = "Fewer than 20 pictures a second are analysed: there are landmarks, but no contacts, strides or gait."
#: Unlike GstFlowReturn.OK: the frame was taken and leaves later.
KEPT: Final = Gst.FlowReturn.CUSTOM_SUCCESS


def _template(name: str, direction: Any) -> Any:
    return Gst.PadTemplate.new(name, direction, Gst.PadPresence.ALWAYS, CAPS)


class Pawfall(GstBase.BaseTransform):  # type: ignore[misc]
    """See the module. Properties are read when the element starts."""

    __gtype_name__ = "Pawfall"
    __gstmetadata__ = ("pawfall", "Filter/Analyzer/Video", "Landmarks and gait of a dog on a treadmill", "pawfall")
    __gsttemplates__ = (_template("src", Gst.PadDirection.SRC), _template("sink", Gst.PadDirection.SINK))

    network = GObject.Property(
        type=str, default="", nick="Network", blurb="Path or name of another network; empty = the one in use"
    )
    belt_speed = GObject.Property(
        type=float, default=0.0, minimum=0.0, maximum=20.0, nick="Belt speed", blurb="m/s; 0 = not known"
    )
    facing = GObject.Property(
        type=str, default="auto", nick="Facing",
        blurb="Side of the picture towards which the dog walks: auto, left, right",
    )  # fmt: skip
    draw = GObject.Property(type=bool, default=False, nick="Draw", blurb="Draw landmarks and the gait on the frames")
    every = GObject.Property(
        type=int, default=1, minimum=1, maximum=1000, nick="Every", blurb="Analyse every so many-th frame alone"
    )
    delay = GObject.Property(
        type=float, default=0.6, minimum=0.0, maximum=10.0, nick="Delay",
        blurb="s that frames are held to leave with their own landmarks; 0 = pass at once with earlier ones",
    )  # fmt: skip
    when_slow = GObject.Property(
        type=str, default="auto", nick="When slow",
        blurb="skip analysis, wait for it, or auto: skip where the source is live",
    )  # fmt: skip
    landmarks = GObject.Property(
        type=bool, default=True, nick="Landmarks", blurb="Post the landmarks of every picture, not events alone"
    )
    events = GObject.Property(
        type=str, default="", nick="Events", blurb="File to which every event is added as a line of JSON"
    )

    def do_start(self) -> bool:
        """Load the network and start the analysis; False, with an error on the bus, when that cannot be."""
        try:
            self._begin()
        except (PoseError, GaitError, OSError) as error:
            self._complain(Gst.Message.new_error, error)
            return False
        return True

    def _begin(self) -> None:
        if self.facing not in ("auto", "left", "right") or self.when_slow not in ("auto", "skip", "wait"):
            raise GaitError("facing has to be auto, left or right, and when-slow auto, skip or wait.")
        self._network = Network.load(self.network or current_network())
        self._trial = Trial(belt_m_s=self.belt_speed or None, facing=self._told_facing())
        self._file: TextIO | None = Path(self.events).open("a", encoding="utf-8") if self.events else None
        self._held: deque[tuple[Any, float]] = deque()
        self._told: deque[tuple[float, Mapping[str, float | str]]] = deque(maxlen=MOST_KEPT)
        self._waits: bool | None = None if self.when_slow == "auto" else self.when_slow == "wait"
        self._count = self._skipped = 0
        self._thinning, self._sparse = Thinning(), False
        self._said_s: dict[Any, float] = {}
        self._gait = ""
        self._fresh = True
        self.set_in_place(True)
        self._probe = self.srcpad.add_probe(Gst.PadProbeType.QUERY_UPSTREAM | Gst.PadProbeType.PULL, self._latency)
        self._analysis = Analysis(self._new_pair, self._tell, self._fail)

    def do_stop(self) -> bool:
        """End the analysis."""
        self._analysis.stop()
        self._say_skipped(at_once=True)
        self.srcpad.remove_probe(self._probe)
        self._held.clear()
        if self._file:
            self._file.close()
        del self._analysis, self._network
        return True

    def do_set_caps(self, incaps: Any, outcaps: Any) -> bool:
        """Note how pictures lie in their buffers."""
        self._info = GstVideo.VideoInfo.new_from_caps(incaps)
        return self._info is not None

    def do_sink_event(self, event: Any) -> bool:
        """Let held frames leave before a break, forget them at a flush."""
        if event.type in BREAKS and not self._fresh:
            self._analysis.finish()
            self._release(np.inf)
            self._say_skipped(at_once=True)
            self._renew()
        elif event.type == Gst.EventType.GAP:
            self._release(np.inf)
        elif event.type == Gst.EventType.FLUSH_START:
            self._analysis.renew()  # what is waiting would only hold the flush up
        elif event.type == Gst.EventType.FLUSH_STOP:
            self._held.clear()
            self._renew()
        return bool(GstBase.BaseTransform.do_sink_event(self, event))

    def do_transform_ip(self, buffer: Any) -> Any:
        """Take a frame: analyse it, and let it or an earlier one go on."""
        t_s = self._time_s(buffer)
        if t_s is None and not self._held:
            return Gst.FlowReturn.OK
        t_s = self._held[-1][1] if t_s is None else t_s
        self._fresh = False
        self._offer(buffer, t_s)
        if not self.delay:
            self._furnish(buffer, t_s)
            return Gst.FlowReturn.OK
        # a copy, since a camera may have no more than a few buffers to lend
        self._held.append((buffer.copy_deep(), t_s))
        flow = self._release(t_s - self.delay)
        return KEPT if flow == Gst.FlowReturn.OK else flow

    def _time_s(self, buffer: Any) -> float | None:
        """s of stream time; None = not known, or outside what is played."""
        if buffer.pts == Gst.CLOCK_TIME_NONE:
            return None
        now = self.segment.to_stream_time(Gst.Format.TIME, buffer.pts) if self.segment.rate > 0 else Gst.CLOCK_TIME_NONE
        return None if now == Gst.CLOCK_TIME_NONE else now / Gst.SECOND

    def _offer(self, buffer: Any, t_s: float) -> None:
        """Hand every so many-th picture to the analysis."""
        self._count += 1
        if (self._count - 1) % self.every:
            return
        if self._waits is None:
            self._waits = not self._source_is_live()
        if not (self._thinning.wants(t_s) and self._take(buffer, t_s)):
            self._skipped += 1
        self._say_skipped()

    def _take(self, buffer: Any, t_s: float) -> bool:
        """Hand a picture to the analysis; False = it had no room."""
        room = self._waits or self._analysis.has_room()  # nothing is copied for a full queue
        if room and self._analysis.offer(self._picture(buffer), t_s, wait=bool(self._waits)):
            return True
        self._thinning.turned_away(t_s)
        return False

    def _source_is_live(self) -> bool:
        query = Gst.Query.new_latency()
        return bool(self.sinkpad.peer_query(query) and query.parse_latency()[0])

    def _release(self, until_s: float) -> Any:
        """Let the frames up to ``until_s`` go on."""
        flow = Gst.FlowReturn.OK
        while self._held and self._held[0][1] <= until_s and flow == Gst.FlowReturn.OK:
            if self._waits:
                self._analysis.wait_for(self._held[0][1])
            flow = self._push()
        return flow

    def _push(self) -> Any:
        buffer, t_s = self._held.popleft()
        self._furnish(buffer, t_s)
        return self.srcpad.push(buffer)

    def _renew(self) -> None:
        """Begin a new reading: what comes next has nothing to do with what came before."""
        self._analysis.renew()
        self._told.clear()
        self._gait, self._fresh = "", True
        self._thinning = Thinning()

    def _furnish(self, buffer: Any, t_s: float) -> None:
        """Put what is known at ``t_s`` onto a frame that is about to leave."""
        found, told = self._analysis.at(t_s), [one for one in list(self._told) if one[0] <= t_s + TICK_S]
        for one in told:
            self._told.remove(one)
        if found and self.draw:
            self._paint(buffer, found)
        if not found and not told:
            return
        words = _structure(NAME, {"width_px": self._info.width, "height_px": self._info.height})
        if found:
            words.set_value("landmarks", _structure(f"{NAME}-landmarks", found.as_dict()))
        words.set_value("events", Gst.ValueArray([_structure(f"{NAME}-event", one) for _, one in told]))
        meta.add(buffer, words)

    def _paint(self, buffer: Any, found: Found) -> None:
        with buffer.map(Gst.MapFlags.READ | Gst.MapFlags.WRITE) as mapped:
            view = self._view(buffer, mapped.data)
            picture = draw_landmarks(np.ascontiguousarray(view), found.xy_px, found.hidden)
            height = 0.05 * len(picture)
            draw_words(picture, self._gait, (round(height), round(2 * height)), height, WHITE, picture.shape[1] / 2)
            view[:] = picture

    def _picture(self, buffer: Any) -> Picture:
        """A copy of the picture in ``buffer``: rgb (H, W, 3)."""
        with buffer.map(Gst.MapFlags.READ) as mapped:
            return self._view(buffer, mapped.data).copy(order="C")

    def _view(self, buffer: Any, data: Any) -> Picture:
        """The picture in ``data``, as rgb (H, W, 3), not copied."""
        info, own = self._info, GstVideo.buffer_get_video_meta(buffer)
        step, offset = (own.stride[0], own.offset[0]) if own else (info.stride[0], info.offset[0])
        pixel = info.finfo.pixel_stride[0]
        view: Picture = np.ndarray(
            (info.height, info.width, pixel), np.uint8, buffer=data, offset=offset, strides=(step, pixel, 1)
        )
        return view[..., CHANNELS[info.finfo.name[:3]]]

    def _told_facing(self) -> Facing | None:
        return None if self.facing == "auto" else self.facing

    def _new_pair(self) -> Pair:
        self._stream = GaitStream(self._trial)
        return LandmarkStream(self._network, facing=self._told_facing()), self._stream

    def _tell(self, found: list[Found], events: tuple[Event, ...]) -> None:
        """Post what was found; from the thread of the analysis."""
        for one in found if self.landmarks else ():
            self._post(f"{NAME}-landmarks", one.as_dict())
        for event in events:
            words = event_as_dict(event)
            self._post(f"{NAME}-event", words)
            self._told.append((event.told_s, words))
            if event.kind == "gait changed":
                self._gait = event.gait
            if self._file:
                self._file.write(json.dumps(words) + "\n")
                self._file.flush()
        if self._stream.sparse and not self._sparse:
            self._complain(Gst.Message.new_warning, GaitError(SPARSE))
        self._sparse = self._stream.sparse

    def _fail(self, error: Exception) -> None:
        """Say that reading failed and goes on; from the thread of the analysis."""
        if self._may_say("failed"):
            self._complain(Gst.Message.new_warning, error)

    def _say_skipped(self, *, at_once: bool = False) -> None:
        if self._skipped and (at_once or self._may_say("skipped")):
            self._post(f"{NAME}-skipped", {"pictures": self._skipped})
            self._skipped = 0

    def _may_say(self, kind: str) -> bool:
        now_s = time.monotonic()
        if now_s - self._said_s.get(kind, -np.inf) < APART_S:
            return False
        self._said_s[kind] = now_s
        return True

    def _post(self, name: str, words: Mapping[str, float | str]) -> None:
        self.post_message(Gst.Message.new_element(self, _structure(name, words)))

    def _complain(self, kind: Any, error: Exception) -> None:
        """Post an error or a warning."""
        words = GLib.Error.new_literal(Gst.ResourceError.quark(), str(error), Gst.ResourceError.FAILED)
        self.post_message(kind(self, words, type(error).__name__))

    def _latency(self, pad: Any, info: Any) -> Any:
        """Add the delay to what was answered about latency."""
        query = info.get_query()
        if query.type == Gst.QueryType.LATENCY:
            live, least, most = query.parse_latency()
            more = round(self.delay * Gst.SECOND)
            query.set_latency(live, least + more, most if most == Gst.CLOCK_TIME_NONE else most + more)
        return Gst.PadProbeReturn.OK


def _structure(name: str, words: Mapping[str, float | str]) -> Any:
    structure = Gst.Structure.new_empty(name)
    for key, value in words.items():
        structure.set_value(key, value)
    return structure


GObject.type_register(Pawfall)
__gstelementfactory__ = (NAME, Gst.Rank.NONE, Pawfall)
