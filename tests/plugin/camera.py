"""A camera in the network, for tests: shows a film, as it was encoded, to everybody who asks at rtsp://127.0.0.1.

    /usr/bin/python3 camera.py FILM

Prints its address when it listens. Needs gst-python and gir1.2-gst-rtsp-server-1.0.
"""

import sys

import gi

gi.require_version("Gst", "1.0")
gi.require_version("GstRtspServer", "1.0")
from gi.repository import GLib, Gst, GstRtspServer  # noqa: E402

Gst.init(None)
server, factory = GstRtspServer.RTSPServer(), GstRtspServer.RTSPMediaFactory()
server.set_address("127.0.0.1")
server.set_service("0")  # any port that is free
factory.set_launch(f"( filesrc location={sys.argv[1]} ! qtdemux ! rtph264pay name=pay0 pt=96 config-interval=-1 )")
server.get_mount_points().add_factory("/stream", factory)
server.attach(None)
sys.stdout.write(f"rtsp://127.0.0.1:{server.get_bound_port()}/stream\n")
sys.stdout.flush()
GLib.MainLoop().run()
