"""A host of the element, for tests: plays a pipeline with an ``end`` and says in JSON what came of it.

    /usr/bin/python3 host_program.py PIPELINE [STEPS]

The element is called ``dog``, its frames are looked at where they reach ``end``. STEPS is a JSON list of what is done
on the way, one after another: ``at_s``, the time of a frame that has to be passed, and either ``to_s`` and ``rate`` of
a seek, or ``stop``: the pipeline is stopped and played anew, or ``caps`` of the capsfilter called ``caps``. Needs
gst-python and nothing else.
"""

import json
import sys

import gi

gi.require_version("Gst", "1.0")
from gi.repository import Gst  # noqa: E402

Gst.init(None)
PATIENCE = 90 * Gst.SECOND


def play(words: str, steps: list[dict[str, object]]) -> dict[str, object]:
    """Frames [[pts in ns, dts or pts, {structure: fields}]], messages [[name, fields]], and how it ended."""
    pipeline = Gst.parse_launch(words)
    frames: list[object] = []
    messages: list[object] = []
    latest = [0.0]
    rate = 1.0

    def look(pad: Gst.Pad, info: Gst.PadProbeInfo) -> Gst.PadProbeReturn:
        buffer = info.get_buffer()
        meta = buffer.get_custom_meta("pawfall")
        told = fields(meta.get_structure()) if meta else {}
        frames.append([buffer.pts, told])
        latest[0] = buffer.pts / Gst.SECOND
        return Gst.PadProbeReturn.OK

    pipeline.get_by_name("end").get_static_pad("sink").add_probe(Gst.PadProbeType.BUFFER, look)
    bus, end = pipeline.get_bus(), "hang"
    pipeline.set_state(Gst.State.PLAYING)
    waited = 0
    while waited < PATIENCE:
        message = bus.timed_pop(Gst.SECOND // 20)
        waited += Gst.SECOND // 20 if message is None else 0
        if steps and (latest[0] - steps[0]["at_s"]) * rate > 0:
            step = steps.pop(0)
            done, rate = take(pipeline, step), step.get("rate", rate)
            messages.append(["step", {"ok": done}])
            frames.append(["step", {}])
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


def take(pipeline: Gst.Pipeline, step: dict[str, object]) -> bool:
    """Do what ``step`` says; whether that was possible."""
    if "caps" in step:
        pipeline.get_by_name("caps").set_property("caps", Gst.Caps.from_string(step["caps"]))
        return True
    if "stop" in step:
        states = Gst.State.READY, Gst.State.PLAYING
        return all(pipeline.set_state(state) != Gst.StateChangeReturn.FAILURE for state in states)
    flags, to = Gst.SeekFlags.FLUSH | Gst.SeekFlags.ACCURATE, round(step["to_s"] * Gst.SECOND)
    start, stop = (to, -1) if step["rate"] > 0 else (0, to)
    return pipeline.seek(step["rate"], Gst.Format.TIME, flags, Gst.SeekType.SET, start, Gst.SeekType.SET, stop)


def fields(structure: Gst.Structure) -> dict[str, object]:
    """What a structure holds."""
    names = [structure.nth_field_name(number) for number in range(structure.n_fields())]
    return {name: plain(structure.get_value(name)) for name in names}


def plain(value: object) -> object:
    """What a field holds, structures within it as dicts."""
    if isinstance(value, Gst.Structure):
        return fields(value)
    return [plain(one) for one in value] if isinstance(value, Gst.ValueArray) else value


json.dump(play(sys.argv[1], json.loads(sys.argv[2])), sys.stdout)
