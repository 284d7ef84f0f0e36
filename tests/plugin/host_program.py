"""A host of the element, for tests: plays a pipeline with an ``end`` and says in JSON what came of it.

    /usr/bin/python3 host_program.py PIPELINE [SEEK_AFTER_S SEEK_TO_S]

The element is called ``dog``, its frames are looked at where they reach ``end``. Needs gst-python and nothing else.
"""

import json
import sys
from collections.abc import Iterator
from itertools import count, takewhile

import gi

gi.require_version("Gst", "1.0")
gi.require_version("GstVideo", "1.0")
from gi.repository import Gst, GstVideo  # noqa: E402

Gst.init(None)
PATIENCE = 90 * Gst.SECOND


def play(words: str, seek: list[float]) -> dict[str, object]:
    """Frames [[pts in ns, dts or pts, {structure: fields}]], messages [[name, fields]], and how it ended."""
    pipeline = Gst.parse_launch(words)
    frames: list[object] = []
    messages: list[object] = []
    latest = [0.0]

    def look(pad: Gst.Pad, info: Gst.PadProbeInfo) -> Gst.PadProbeReturn:
        buffer = info.get_buffer()
        meta = GstVideo.buffer_get_video_region_of_interest_meta_id(buffer, 0)
        told = {}
        if meta:
            told = {"box": [meta.x, meta.y, meta.w, meta.h]}
            landmarks = meta.get_param("pawfall-landmarks")
            told |= {"landmarks": fields(landmarks)} if landmarks else {}
            told["events"] = [fields(one) for one in iter_events(meta)]
        frames.append([buffer.pts, told])
        latest[0] = buffer.pts / Gst.SECOND
        return Gst.PadProbeReturn.OK

    pipeline.get_by_name("end").get_static_pad("sink").add_probe(Gst.PadProbeType.BUFFER, look)
    bus, end, sought = pipeline.get_bus(), "hang", not seek
    pipeline.set_state(Gst.State.PLAYING)
    waited = 0
    while waited < PATIENCE:
        message = bus.timed_pop(Gst.SECOND // 20)
        waited += Gst.SECOND // 20 if message is None else 0
        if not sought and latest[0] > seek[0]:
            sought = pipeline.seek_simple(
                Gst.Format.TIME, Gst.SeekFlags.FLUSH | Gst.SeekFlags.ACCURATE, round(seek[1] * Gst.SECOND)
            )
            messages.append(["sought", {"ok": sought}])
            frames.append(["sought", {}])
        if message is None:
            continue
        if message.type in (Gst.MessageType.EOS, Gst.MessageType.ERROR):
            end = "end" if message.type == Gst.MessageType.EOS else message.parse_error()[0].message
            break
        if message.type == Gst.MessageType.WARNING:
            messages.append(["warning", {"words": message.parse_warning()[0].message}])
        if message.type == Gst.MessageType.ELEMENT and message.get_structure().get_name().startswith("pawfall"):
            messages.append([message.get_structure().get_name(), fields(message.get_structure())])
    query = Gst.Query.new_latency()
    latency = query.parse_latency() if pipeline.query(query) else None
    pipeline.set_state(Gst.State.NULL)
    return {"frames": frames, "messages": messages, "end": end, "latency": latency}


def iter_events(meta: GstVideo.VideoRegionOfInterestMeta) -> Iterator[Gst.Structure]:
    """The events that a frame carries."""
    return takewhile(bool, (meta.get_param(f"pawfall-event-{number}") for number in count()))


def fields(structure: Gst.Structure) -> dict[str, object]:
    """What a structure holds."""
    names = [structure.nth_field_name(number) for number in range(structure.n_fields())]
    return {name: structure.get_value(name) for name in names}


json.dump(play(sys.argv[1], [float(word) for word in sys.argv[2:]]), sys.stdout)
