"""What can stop drawing and training. Each error says what is wrong and what to do."""


class TrainingError(Exception):
    """Base of every error of this package."""


class DrawError(TrainingError, RuntimeError):
    """Footage cannot be drawn on this machine."""


class FootageError(TrainingError, FileNotFoundError):
    """Drawn or marked footage that is not there or cannot be read."""


class FitError(TrainingError, ValueError):
    """Settings or a checkpoint that cannot be used for training."""


class ExportError(TrainingError, ArithmeticError):
    """The exported network does not say what the trained one says."""
