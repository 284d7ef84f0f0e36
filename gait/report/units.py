"""Lengths and speeds as a person wants to see them. What is kept is always metric."""

from typing import Final

METRIC: Final = "metric"
IMPERIAL: Final = "imperial"
#: (system, unit) -> factor, unit that is shown. International yard and pound agreement of 1959: 1 in = 25.4 mm.
SHOWN: Final = {
    (IMPERIAL, "m"): (1 / 0.0254, "in"),
    (IMPERIAL, "cm"): (1 / 2.54, "in"),
    (IMPERIAL, "m/s"): (3600 / 1609.344, "mph"),
    (IMPERIAL, "kg"): (1 / 0.45359237, "lb"),
}


def shown(value: float, unit: str, system: str) -> tuple[float, str]:
    """(value, unit) in the ``system`` "metric" or "imperial"; units that have no other form stay as they are."""
    factor, other = SHOWN.get((system, unit), (1.0, unit))
    return value * factor, other


def told(value: float | None, unit: str, system: str, places: int = 2) -> str:
    """'1.25 m/s', '2.80 mph'; a dash when it is not known."""
    if value is None or value != value:
        return "–"
    number, name = shown(value, unit, system)
    return f"{number:.{places}f} {name}".replace("-", "−", 1)
