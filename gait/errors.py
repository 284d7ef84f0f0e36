"""What can stop the reading of gait."""


class GaitError(Exception):
    """Base of every error of this package."""


class TrialError(GaitError, ValueError):
    """What was said about the filming cannot be used (exit code 2)."""


class OverrulingError(GaitError, ValueError):
    """What a person said of a stride cannot be used (exit code 2)."""


class TruthError(GaitError, ValueError):
    """The truth beside a clip cannot be used (exit code 2)."""


class TooFewStridesError(GaitError, LookupError):
    """The tracks can be read, but hold too few strides to say anything (exit code 3)."""
