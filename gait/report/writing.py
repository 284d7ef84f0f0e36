"""Files that are always whole: written beside their place, then renamed."""

import os
from pathlib import Path


def write_whole(path: Path, content: bytes) -> None:
    """Write ``content`` to ``path``; what is there under that name is always whole."""
    beside = path.with_name(path.name + ".part")
    beside.write_bytes(content)
    os.replace(beside, path)
