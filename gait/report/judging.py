"""A judgement of one network, or of two side by side, as a page that stands alone but for the worst pictures."""

from collections.abc import Sequence
from typing import Any, Final

import matplotlib

from gait.report.drawing import STYLE, Drawn, bare, new_figure, to_svg
from gait.report.page import stylesheet, template
from gait.report.palette import BLUE, QUIET, VERMILLION

#: Colour, line and marker of the network that is judged and of the one that it is held against.
LOOKS: Final = ((BLUE, "-", "o"), (VERMILLION, "--", "D"))


def judging_page(facts: dict[str, Any], change: str, worst: Sequence[str]) -> str:
    """The page as HTML text.

    facts   what judged.json says
    change  the two networks in one sentence, "" for one alone
    worst   pictures, as seen from the page, the worst first
    """
    sides = [facts, *([facts["against"]] if "against" in facts else [])]
    return template("judging.html").render(
        css=stylesheet(),
        facts=facts,
        sides=sides,
        change=change,
        figures=(curve_figure(sides), score_figure(sides)),
        dogs=sorted({dog for side in sides for dog in side["over_dogs"]["dogs"]}),
        worst=worst,
        number=number,
    )


def number(told: dict[str, Any]) -> str:
    """'8.4 (6.1 to 10.2)', without the interval where dogs are too few, or a dash."""
    if "mean" not in told:
        return "–"
    return f"{told['mean']:.1f}" + (f" ({told['low']:.1f} to {told['high']:.1f})" if "low" in told else "")


def curve_figure(sides: Sequence[dict[str, Any]]) -> Drawn:
    """Shares of landmarks within a distance of their mark."""
    with matplotlib.rc_context(STYLE):
        figure = new_figure(4.6, 3.1)
        axes = figure.add_axes((0.12, 0.16, 0.84, 0.78))
        for side, (colour, line, _) in zip(sides, LOOKS, strict=False):
            told = side["curve"]
            axes.plot(told["limits_percent"], [100 * one for one in told["all"]] or [float("nan")] * 30, color=colour,
                      linestyle=line, linewidth=1.8, label=side["network"])  # fmt: skip
        axes.set(xlim=(0, 30), ylim=(0, 100), xlabel="% of body length", ylabel="% of landmarks within")
        axes.grid(True)
        axes.legend(loc="lower right", frameon=False)
        bare(axes, ("left", "bottom"))
        svg = to_svg(figure, "curve")
    words = [f"{side['network']}: {100 * side['curve']['all'][9]:.0f} % within 10 % of body length"
             for side in sides if side["curve"]["all"]]  # fmt: skip
    return Drawn("curve", "How near landmarks come", "; ".join(words) or "nothing judged",
                 "Share of marked landmarks within a distance of where a person marked them.", (svg,))  # fmt: skip


def score_figure(sides: Sequence[dict[str, Any]]) -> Drawn:
    """What scores promise against what came true."""
    with matplotlib.rc_context(STYLE):
        figure = new_figure(4.6, 3.1)
        axes = figure.add_axes((0.12, 0.16, 0.84, 0.78))
        axes.plot([0, 1], [0, 1], color=QUIET, linewidth=0.8, linestyle=":")
        for side, (colour, line, marker) in zip(sides, LOOKS, strict=False):
            told = side["calibration"]
            axes.plot([one["score"] for one in told], [one["right"] for one in told], color=colour, linestyle=line,
                      marker=marker, markersize=4, label=side["network"])  # fmt: skip
        axes.set(xlim=(0, 1), ylim=(0, 1), xlabel="score", ylabel="share within 5 % of body length")
        axes.grid(True)
        axes.legend(loc="upper left", frameon=False)
        bare(axes, ("left", "bottom"))
        svg = to_svg(figure, "score")
    words = [f"{side['network']}: off by {side['scores']['expected_error']:.2f} on average"
             for side in sides if side["scores"]["expected_error"] is not None]  # fmt: skip
    return Drawn("scores", "Whether scores keep their word", "; ".join(words) or "nothing judged",
                 "On the dotted line a score is the share of landmarks that lie within 5 % of body length; below it "
                 "scores promise too much.", (svg,))  # fmt: skip
