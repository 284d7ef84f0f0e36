"""The versions that a result was made with."""

from importlib.metadata import PackageNotFoundError, version

import numpy as np
import scipy


def versions() -> dict[str, str]:
    """Name of each library that numbers depend on, pawfall first, and its version."""
    try:
        own = version("pawfall")
    except PackageNotFoundError:
        own = "unpacked"
    return {"pawfall": own, "numpy": np.__version__, "scipy": scipy.__version__}
