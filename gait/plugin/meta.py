"""A GstCustomMeta that is filled from Python.

gst-python 1.22 hands out a copy of the structure of a GstCustomMeta, and what is written into a copy is lost. So the
structure itself is asked for and filled by the C functions of GStreamer, which are called through ctypes; the hash of
an object of gst-python is the address of what it stands for. Reading needs none of that: a copy is as good.
"""

import ctypes
from typing import Any, Final

from gi.repository import Gst

ADDRESS: Final = ctypes.c_void_p
TEXT: Final = ctypes.c_char_p
#: What each function that is called gives back and takes.
FORMS: Final = {
    "gst_mini_object_is_writable": (ctypes.c_int, [ADDRESS]),
    "gst_buffer_add_custom_meta": (ADDRESS, [ADDRESS, TEXT]),
    "gst_custom_meta_get_structure": (ADDRESS, [ADDRESS]),
    "gst_structure_get_value": (ADDRESS, [ADDRESS, TEXT]),
    "gst_structure_set_value": (None, [ADDRESS, TEXT, ADDRESS]),
}


def _library() -> ctypes.CDLL:
    """The library that gst-python has loaded, with the forms of its functions."""
    library = ctypes.CDLL("libgstreamer-1.0.so.0")
    for name, (gives, takes) in FORMS.items():
        function = getattr(library, name)
        function.restype, function.argtypes = gives, takes
    return library


LIBRARY: Final = _library()


def register(name: str) -> None:
    """Make ``name`` known as a GstCustomMeta that goes wherever its frame goes; once in a process."""
    Gst.Meta.register_custom(name, [], None, None)


def add(buffer: Any, words: Any) -> bool:
    """Put a GstCustomMeta with the name and the fields of the GstStructure ``words`` onto ``buffer``.

    False = nothing was put, as others hold the buffer too. The fields are copied; the buffer owns its own.
    """
    if not LIBRARY.gst_mini_object_is_writable(hash(buffer)):
        return False
    meta = LIBRARY.gst_buffer_add_custom_meta(hash(buffer), words.get_name().encode())
    inside = LIBRARY.gst_custom_meta_get_structure(meta)
    for number in range(words.n_fields()):
        name = words.nth_field_name(number).encode()
        LIBRARY.gst_structure_set_value(inside, name, LIBRARY.gst_structure_get_value(hash(words), name))
    return True
