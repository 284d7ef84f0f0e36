"""The content of a clip as one number, by which it is known again whatever it is called."""

import hashlib
from pathlib import Path


def content_hash(source: Path) -> str:
    """SHA-256 of a file, or of all files of a folder with their names, in hexadecimal digits."""
    if not source.is_dir():
        return _of_file(source)
    digest = hashlib.sha256()
    for item in sorted(item for item in source.iterdir() if item.is_file() and not item.name.startswith(".")):
        digest.update(f"{item.name}\0{_of_file(item)}\n".encode())
    return digest.hexdigest()


def _of_file(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
