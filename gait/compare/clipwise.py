"""How far a network's reading of a whole clip is off, all strides alike, apart from what it is off in every clip."""

from typing import Final

#: SD from clip to clip of found minus true mean, in the measure's unit: nine drawn clips of six dogs, read by the
#: networks pawfall-s6, pawfall-s7 and pawfall-s10, the largest of the three, each clip in another room, some with posts
#: before the dog: the six demo clips and the three of tests/outside/anatomical_dog_film.py (``python -m gait.clipwise
#: RESULTS samples FOLDER``). They include what differs from dog to dog, so two clips of one dog in one room may well be
#: nearer to each other. A boot or a post moves where paws are found: 1 % of the way from fore to hind paw turns the
#: belt line, and with it every angle, by half a degree.
OFF: Final[dict[str, float]] = {
    "topline_deg": 0.6,
    "topline_range_deg": 0.58,
    "fore_protraction_deg": 1.8,
    "hind_protraction_deg": 1.4,
    "fore_retraction_deg": 0.9,
    "hind_retraction_deg": 1.1,
    "reach_ratio": 0.045,
    "fore_duty_factor": 0.012,
    "hind_duty_factor": 0.017,
    "limb_phase": 0.008,
    "tracking_up_m": 0.0064,
    "tracking_up_bl": 0.031,
}

#: The same in shares of the mean, for measures that are larger in larger dogs.
OFF_SHARE: Final[dict[str, float]] = {
    "stride_time_s": 0.003,
    "stride_length_bl": 0.043,
    "fore_reach_m": 0.013,
    "hind_reach_m": 0.021,
    "fore_reach_bl": 0.043,
    "hind_reach_bl": 0.033,
    "withers_excursion_m": 0.21,
    "withers_excursion_bl": 0.51,
    "croup_excursion_m": 0.16,
    "croup_excursion_bl": 0.17,
}


def off_by(name: str, usual: float) -> float:
    """SD of the clip's mean of the compared measure ``name`` of mean size ``usual``, in its unit."""
    return OFF[name] if name in OFF else OFF_SHARE.get(name, 0.0) * usual
