"""Figures: what they draw is what the record holds."""

from dataclasses import replace

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.colors import to_rgb
from record_maker import DUTY, Wish, make_record

from gait.footfalls import Pattern
from gait.naming import GAITS, NamingSettings, name_pattern
from gait.report import drawing
from gait.report.drawn import Drawn
from gait.report.footfall import fit_words, footfall_figure, line_seconds
from gait.report.page import figures
from gait.report.palette import LANES, PAW_STYLES
from gait.report.paths import PHASES, middle_path, paths_figure, stride_paths
from gait.report.phases import naming_settings, phase_points, phases_figure, regions, wrap
from gait.report.topline import topline_figure
from pose.landmarks import PAWS

#: Least difference of lightness by which two inks are told apart on a grey print. Common practice, no source.
LEAST_STEP = 0.12
#: Paths are read off at 60 moments of a stride of 31 frames; a frame of a fast swing is this many body lengths long.
FRAME_BL = 0.06

TROT = make_record(Wish(runs=(("trot", 12),), dropped=((0, "gap"),)))
PACING = make_record(Wish(runs=(("pace", 3), ("walk", 20)), stride_s=0.9))
UNKNOWN = make_record(Wish(known=False))
EMPTY = replace(TROT, runs=(), summaries=(), checks=())


def grey(colour: str) -> float:
    """0..1, lightness of an ink on a grey print (Rec. 709 weights)."""
    return float(np.dot(to_rgb(colour), (0.2126, 0.7152, 0.0722)))


@pytest.mark.parametrize("record", [TROT, UNKNOWN, EMPTY], ids=["trot", "nothing known", "no runs"])
def test_every_figure_says_in_words_what_it_shows(record) -> None:
    for figure in figures(record):
        assert len(figure.alt) > 30 and len(figure.caption) > 80 and figure.title
        assert "nan" not in figure.alt.lower()


@pytest.mark.parametrize("figure", figures(TROT), ids=lambda figure: figure.key)
def test_figures_carry_nothing_from_outside(figure: Drawn) -> None:
    for piece in (*figure.wide, *figure.narrow):
        assert piece.startswith("<svg") and piece.endswith("</svg>")
        assert "http" not in piece and "<style" not in piece and "<metadata" not in piece


def test_the_same_record_gives_the_same_drawing() -> None:
    assert figures(TROT) == figures(TROT)


def test_nothing_of_the_page_before_stays_on_the_next() -> None:
    """Axes are kept from page to page: what is drawn after other dogs is what is drawn first of all."""
    alone = []
    for record in (PACING, TROT, UNKNOWN, EMPTY):
        drawing._kept.cache_clear()
        alone.append(figures(record))
    for _ in range(2):
        assert [figures(record) for record in (PACING, TROT, UNKNOWN, EMPTY)] == alone
    assert [figures(record) for record in (EMPTY, UNKNOWN, TROT, PACING)] == alone[::-1]


def test_a_drawing_that_breaks_off_leaves_nothing_behind() -> None:
    def plain(axes: Axes) -> None:
        axes.set_xlim(0, 1)

    place = [(0.1, 0.1, 0.8, 0.8)]
    with drawing.kept_figure(plain, (2, 2), place) as (figure, _):
        clean = drawing.to_svg(figure, "one")
    with pytest.raises(ZeroDivisionError), drawing.kept_figure(plain, (2, 2), place) as (figure, (axes,)):
        axes.plot([0, 1], [0, 1], label="a dog")
        axes.legend()
        axes.text(0.5, 0.5, "its name")
        axes.axhspan(0, 0.5)
        figure.text(0.1, 0.1, "its name again")
        figure.add_axes((0, 0, 0.1, 0.1))
        raise ZeroDivisionError
    with drawing.kept_figure(plain, (2, 2), place) as (figure, (axes,)):
        axes.set_xlim(0, 1)
        axes.set_ylim(0, 1)
        assert drawing.to_svg(figure, "one") == clean


def test_near_is_darker_than_far_on_a_grey_print() -> None:
    for pair in ("fore", "hind"):
        assert grey(PAW_STYLES[f"far_{pair}"].colour) - grey(PAW_STYLES[f"near_{pair}"].colour) > LEAST_STEP
        assert PAW_STYLES[f"far_{pair}"].line != PAW_STYLES[f"near_{pair}"].line


def test_every_paw_has_one_lane() -> None:
    assert sorted(LANES) == sorted(PAWS) == sorted(PAW_STYLES)


@pytest.mark.parametrize(
    ("strides", "pieces"), [pytest.param(12, 1, id="one line"), pytest.param(120, 3, id="ten lines in three pieces")]
)
def test_long_clips_run_over_several_lines(strides: int, pieces: int) -> None:
    assert len(footfall_figure(make_record(Wish(runs=(("trot", strides),)))).wide) == pieces


def test_a_line_holds_the_wished_number_of_strides() -> None:
    assert line_seconds(TROT, 5) == pytest.approx(5 * 0.52)
    assert line_seconds(TROT, 500) == pytest.approx(TROT.tracks.t_s[-1])


def test_footfalls_draw_every_stance_once() -> None:
    drawn = "".join(footfall_figure(TROT).wide)
    for paw in PAWS:
        colour = PAW_STYLES[paw].colour.lower()
        outlines = [part for part in drawn.split("<path ") if f"fill: {colour}; stroke: {colour}" in part]
        whole = (TROT.contacts.paw == PAWS.index(paw)) & np.isfinite(TROT.contacts.liftoff_s)
        assert sum(outline.count(" z") for outline in outlines) == np.count_nonzero(whole)


def test_dropped_strides_are_hatched() -> None:
    assert "url(#" in footfall_figure(TROT).wide[0].replace("clip-path", "").split("<pattern")[0]
    assert "<pattern" in footfall_figure(TROT).wide[0]
    assert "<pattern" not in footfall_figure(make_record(Wish(runs=(("trot", 12),), dropped=()))).wide[0]


def test_unclear_strides_inside_a_named_run_are_underlined() -> None:
    record = make_record(Wish(runs=(("trot", 2), ("unclear", 2), ("trot", 2)), dropped=()))
    whole = replace(record.runs[0], end_s=record.runs[-1].end_s)
    dotted = "stroke-dasharray: 1.3,1.3"
    assert footfall_figure(replace(record, runs=(whole,))).wide[0].count(dotted) == 2
    assert dotted not in footfall_figure(record).wide[0]


def test_a_dropped_stride_without_an_end_is_hatched_to_the_edge() -> None:
    strides = TROT.strides
    cut = np.arange(len(strides)) == len(strides) - 1
    dropped = np.where(cut, "truncated", "")
    record = replace(TROT, strides=replace(strides, dropped=dropped, end_s=np.where(cut, np.nan, strides.end_s)))
    assert "<pattern" in footfall_figure(record).wide[0]


@pytest.mark.parametrize(
    ("words", "letters", "text"),
    [
        pytest.param("trot", 10, "trot", id="fits"),
        pytest.param("walking trot", 8, "walking\ntrot", id="two lines"),
        pytest.param("diagonal-sequence walk", 5, "…", id="cannot fit"),
        pytest.param("trot", 0, "…", id="no room"),
    ],
)
def test_gait_names_fit_their_stretch(words: str, letters: int, text: str) -> None:
    assert fit_words(words, letters) == text


@pytest.mark.parametrize(("phase", "place"), [(0.0, 0.0), (95.0, -5.0), (87.0, 87.0), (88.0, -12.0), (45.0, 45.0)])
def test_paces_around_nought_lie_together(phase: float, place: float) -> None:
    assert wrap(np.array([phase])) == pytest.approx(place)


def test_phase_points_are_the_used_strides_of_the_record() -> None:
    points = phase_points(TROT.strides, TROT.strides_of("near_hind"), "near")
    assert len(points.duty) == 12 and points.symmetrical.all()
    assert points.duty.mean() == pytest.approx(100 * DUTY["trot"], abs=1) and points.phase.mean() == pytest.approx(
        46, abs=1
    )
    assert len(phase_points(UNKNOWN.strides, UNKNOWN.strides_of("near_hind"), "near").duty) == 0


def test_asymmetrical_strides_are_set_apart() -> None:
    strides = make_record(Wish(runs=(("trot", 3), ("canter", 2)), dropped=())).strides
    assert (
        phase_points(strides, strides.paw == PAWS.index("near_hind"), "near").symmetrical.tolist()
        == [True] * 3 + [False] * 2
    )


@pytest.mark.parametrize(
    "settings", [NamingSettings(), NamingSettings(running=0.45, pace_edge=0.1)], ids=["usual", "other edges"]
)
def test_fields_of_the_diagram_are_those_of_the_naming(settings: NamingSettings) -> None:
    """The middle of every field is named as the field says, by the gait core itself."""
    for name, run, low, high in regions(settings):
        phase, duty = np.array([(low + high) / 200 % 1]), np.array([settings.running + (-0.01 if run else 0.01)])
        half = np.array([0.5])
        code = name_pattern(
            Pattern(hind_lag=half, fore_lag=half, limb_phase_own=phase, limb_phase_other=phase, duty=duty), settings
        )
        assert GAITS[int(code[0])] == name


def test_the_diagram_takes_its_edges_from_the_record() -> None:
    assert naming_settings(replace(TROT, settings={"naming": {"running": 0.4, "strange": 1}})) == NamingSettings(
        running=0.4
    )


def test_paw_paths_reach_as_far_as_the_record_says() -> None:
    paths = stride_paths(TROT, "near_fore", TROT.ground_px / TROT.body_length_px)
    assert paths.shape == (11, PHASES, 2)
    reach = np.ptp(middle_path(paths)[:, 0])
    assert reach == pytest.approx(0.9 * DUTY["trot"], abs=FRAME_BL)


def test_middle_path_leaves_out_what_is_missing() -> None:
    paths = np.stack([np.full((PHASES, 2), value) for value in (1.0, 2.0, 9.0)])
    paths[2, :10] = np.nan
    paths[:, 0] = np.nan
    middle = middle_path(paths)
    assert np.isnan(middle[0]).all() and (middle[1:10] == 1.5).all() and (middle[10:] == 2.0).all()


@pytest.mark.parametrize("draw", [phases_figure, paths_figure, topline_figure])
def test_what_is_missing_is_said_to_be_not_known(draw) -> None:
    figure = draw(UNKNOWN)
    assert "not known" in figure.alt
    assert all(">not known<" in piece for piece in (*figure.wide, *figure.narrow))


def test_topline_in_words_is_the_mean_of_its_frames() -> None:
    assert f"Mean {np.mean(TROT.topline_deg):+.1f} degrees" in topline_figure(TROT).alt
