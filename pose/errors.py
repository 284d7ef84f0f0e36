"""What can stop the reading of pictures. Each error says what is wrong and what to do."""


class PoseError(Exception):
    """Base of every error of this package."""


class ClipError(PoseError, ValueError):
    """A film or a folder of frames that cannot be used at all (exit code 2)."""


class TableError(PoseError, ValueError):
    """A landmark table that cannot be used (exit code 2)."""


class MarksError(PoseError, ValueError):
    """A file of marked pictures that cannot be used (exit code 2)."""


class NetworkError(PoseError, ValueError):
    """A network file or its card that cannot be used (exit code 2)."""


class NoDogError(PoseError, LookupError):
    """The film can be read, but holds no dog that could be followed (exit code 3)."""


class TooShortError(PoseError, LookupError):
    """The film can be read, but holds too few frames to say anything (exit code 3)."""
