"""What GStreamer's loader of Python elements finds; the element itself is ``gait.plugin.element``."""

import sys

# the loader of 1.22 goes on using the list of places that it found, and OpenCV puts another in its stead: with nobody
# left to hold the first, the host would crash
PLACES = sys.path

from gait.plugin.element import __gstelementfactory__ as __gstelementfactory__  # noqa: E402

sys.path = PLACES
