"""What is known now, in words: a few that are read from two metres, and more beside them."""

import math

from gait.live import Now, number_word
from gait.livenumbers import Latency
from gait.naming import STAND, UNCLEAR

#: Body lengths, and body lengths a second, below which a place is the middle and a drift is none; an eye sees no less.
MIDDLE_BL, STILL_BL_S = 0.05, 0.03


def gait_words(now: Now) -> tuple[str, str]:
    """ ("trot", ""), ("trot?", "one stride so far"), ("unclear", "trot or pace"), ("no gait yet", "")."""
    if not now.dog:
        return "no dog", "Is the whole dog in the picture, from the side, with light on it?"
    if now.slow:
        return "no gait", "This machine reads too few pictures a second to name one. End other programs."
    if now.gait == UNCLEAR:
        return UNCLEAR, now.candidates.replace("/", " or ")
    if now.gait in ("", STAND) or now.sure:
        return now.gait or "no gait yet", ""
    return f"{now.gait}?", f"{number_word(now.agree)} stride{'' if now.agree == 1 else 's'} so far"


def topline_words(now: Now) -> tuple[str, str]:
    """ ("topline −4.2°", "withers higher, swings by 0.4°")."""
    back = now.back
    if not math.isfinite(back.topline_deg):
        return "topline not known", ""
    higher = "level" if abs(back.topline_deg) < 0.05 else "croup higher" if back.topline_deg > 0 else "withers higher"
    return f"topline {signed(back.topline_deg)}°", f"{higher}, swings by {back.spread_deg:.1f}°"


def place_words(now: Now) -> str:
    """ "on the belt 0.20 body lengths ahead of its middle, drifting back"."""
    back = now.back
    if not math.isfinite(back.place):
        return "place on the belt not known"
    if not math.isfinite(back.place_bl):
        return f"on the belt {100 * back.place:.0f} % from the left"
    words = "on the belt at its middle"
    if abs(back.place_bl) >= MIDDLE_BL:
        where = "ahead of" if back.place_bl > 0 else "behind"
        words = f"on the belt {abs(back.place_bl):.2f} body lengths {where} its middle"
    if math.isfinite(back.drift_bl_s) and abs(back.drift_bl_s) >= STILL_BL_S:
        words += f", drifting {'forward' if back.drift_bl_s > 0 else 'back'}"
    return words


def latency_words(latency: Latency) -> str:
    """ "176 pictures answered: half within 63 ms, 95 % within 127 ms, the longest 292 ms"."""
    if not latency.count:
        return "no picture answered"
    return (
        f"{latency.count} pictures answered: half within {latency.median_ms:.0f} ms, "
        f"95 % within {latency.most_ms:.0f} ms, the longest {latency.longest_ms:.0f} ms"
    )


def signed(value: float) -> str:
    """One decimal, with a true minus sign."""
    return f"{value:.1f}".replace("-0.0", "0.0").replace("-", "−")
