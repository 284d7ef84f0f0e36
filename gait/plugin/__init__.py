"""pawfall as a part of other people's video programs: the GStreamer element, and the way to put it into a host."""
