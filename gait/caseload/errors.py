"""What can stop a caseload."""

from gait.errors import GaitError


class CaseloadError(GaitError, ValueError):
    """What was asked of a caseload cannot be done (exit code 2)."""


class StoreError(GaitError, RuntimeError):
    """The store cannot be read or written.

    passing   whether it may go by: a lost connection, a locked or full disk. What was not written is still to be done,
              and the same step may be tried again
    conflict  whether it holds a row that does not go with the new one: another may have written it in the same moment
    """

    def __init__(self, words: str, passing: bool = False, conflict: bool = False) -> None:
        super().__init__(words)
        self.passing = passing
        self.conflict = conflict
