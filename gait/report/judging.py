"""A judgement of one network, or of two side by side, as a page that stands alone but for the worst pictures."""

from collections.abc import Sequence
from typing import Any, Final

from gait.report.drawing import bare, new_figure, styled, to_svg
from gait.report.drawn import Drawn
from gait.report.page import stylesheet, template
from gait.report.palette import BLUE, QUIET, VERMILLION

#: Colour, line and marker of the network that is judged and of the one that it is held against.
LOOKS: Final = ((BLUE, "-", "o"), (VERMILLION, "--", "D"))

#: What is told of the whole line, over dogs: figure, words, unit, decimals.
LINE: Final = (
    ("touchdown_median_ms", "Touchdown: half of the errors are smaller than", "ms", 1),
    ("touchdown_95_percent_ms", "Touchdown: 95 % are smaller than", "ms", 1),
    ("touchdown_bias_ms", "Touchdown: bias, + is found late", "ms", 1),
    ("liftoff_median_ms", "Lift-off: half of the errors are smaller than", "ms", 1),
    ("liftoff_95_percent_ms", "Lift-off: 95 % are smaller than", "ms", 1),
    ("liftoff_bias_ms", "Lift-off: bias, + is found late", "ms", 1),
    ("names_given_percent", "Hind strides, not dropped, that got a name", "%", 1),
    ("names_right_percent", "Named strides that are named right", "%", 1),
    ("exchanged_percent", "Pairs with near and far exchanged", "%", 2),
    ("topline_deg", "Topline of the median clip is off by", "°", 2),
)


def judging_page(facts: dict[str, Any], worst: Sequence[Sequence[str]]) -> str:
    """The page as HTML text.

    facts  what judged.json says
    worst  of each domain pictures, as seen from the page, the worst first
    """
    names = [facts["network"], *([facts["against"]["network"]] if "against" in facts else [])]
    return template("judging.html").render(
        css=stylesheet(),
        facts=facts,
        names=names,
        domains=[_domain(told, names, place, list(pictures))
                 for place, (told, pictures) in enumerate(zip(facts["domains"], worst, strict=True), start=1)],
        line=LINE,
        spread=spread,
        signed=signed,
        untold=untold,
    )  # fmt: skip


def _domain(told: dict[str, Any], names: Sequence[str], place: int, worst: list[str]) -> dict[str, Any]:
    """What the page shows of one domain; one side for each network."""
    sides = [told, *([told["against"]] if "against" in told else [])]
    labelled = [{"network": name, **side} for name, side in zip(names, sides, strict=True)]
    return {
        "key": f"domain-{place}",
        "told": told,
        "sides": labelled,
        "figures": (curve_figure(labelled, f"curve-{place}"), score_figure(labelled, f"scores-{place}")),
        "dogs": sorted({dog for side in sides for dog in side["over_dogs"]["dogs"]}),
        "clips": line_rows(labelled) if "whole_line" in told else [],
        "worst": worst,
    }


def line_rows(sides: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """Clip by clip, each with the figures of every side; before those of a dog that was filmed more than once all its
    clips together, which have no name."""
    line = sides[0]["whole_line"]
    of = {clip: row["dog"] for clip, row in line["clips"].items()}
    owners = list(of.values())
    places = [(dog, "") for dog in line["dogs"] if owners.count(dog) > 1] + [(dog, clip) for clip, dog in of.items()]
    return [
        {"dog": dog, "clip": clip, "sides": [_figures(side, dog, clip) for side in sides]}
        for dog, clip in sorted(places)
    ]


def _figures(side: dict[str, Any], dog: str, clip: str) -> dict[str, Any]:
    line = side["whole_line"]
    return {"network": side["network"], **(line["clips"][clip] if clip else line["dogs"][dog])}


def untold(told: dict[str, Any]) -> str:
    """'30 pictures do not say whose they are and count as one dog' of a domain; "" = at most one does not."""
    count, kind = told["dog_not_told"], "clips" if "clips" in told else "pictures"
    return f"{count} {kind} do not say whose they are and count as one dog" if count > 1 else ""


def spread(told: dict[str, Any], decimals: int = 1, sign: bool = False) -> tuple[str, str]:
    """'8.4' and '6.1 to 10.2'; the interval is empty where dogs are too few for one or all draws are alike, and without
    a mean there is a dash."""
    if "mean" not in told:
        return "–", ""
    write = signed if sign else plain
    mean, low, high = (write(told[key], decimals) if key in told else "" for key in ("mean", "low", "high"))
    return mean, f"{low} to {high}" if low != high else ""


def plain(value: float, decimals: int = 1) -> str:
    """'0.4', '−0.4'."""
    return signed(value, decimals).removeprefix("+")


def signed(value: float, decimals: int = 1) -> str:
    """'+0.4', '−0.4'; nothing has no sign."""
    rounded = round(value, decimals)
    sign = "+" if rounded > 0 else "−" if rounded < 0 else ""
    return f"{sign}{abs(rounded):.{decimals}f}"


def curve_figure(sides: Sequence[dict[str, Any]], key: str) -> Drawn:
    """Shares of landmarks within a distance of their mark."""
    with styled():
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
        svg = to_svg(figure, key)
    words = [f"{side['network']}: {100 * side['curve']['all'][9]:.0f} % within 10 % of body length"
             for side in sides if side["curve"]["all"]]  # fmt: skip
    return Drawn(key, "How near landmarks come", "; ".join(words) or "nothing judged",
                 "Share of landmarks within a distance of where they are.", (svg,))  # fmt: skip


def score_figure(sides: Sequence[dict[str, Any]], key: str) -> Drawn:
    """What scores promise against what came true."""
    with styled():
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
        svg = to_svg(figure, key)
    words = [f"{side['network']}: off by {side['scores']['expected_error']:.2f} on average"
             for side in sides if side["scores"]["expected_error"] is not None]  # fmt: skip
    return Drawn(key, "Whether scores keep their word", "; ".join(words) or "nothing judged",
                 "On the dotted line a score is the share of landmarks that lie within 5 % of body length; below it "
                 "scores promise too much.", (svg,))  # fmt: skip
