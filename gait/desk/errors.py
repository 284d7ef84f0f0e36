"""What a page of the desk cannot do."""

from gait.errors import GaitError


class DeskError(GaitError):
    """Something that was asked of the desk cannot be done; ``status`` is the answer's, as HTTP knows it."""

    def __init__(self, words: str, status: int = 400) -> None:
        super().__init__(words)
        self.status = status
