"""A judgement on the terminal: one short table for each domain, and where the rest lies."""

from pathlib import Path
from typing import Any

import click

from gait.command.change import told_change
from gait.command.outcome import CLIPS
from gait.report.judging import signed, untold
from pose.landmarks import LANDMARKS
from pose.misses import PAW_MISSES, TRUNK_MISSES


def show_judged(facts: dict[str, Any], out: Path) -> None:
    """The figures in short, domain by domain."""
    for number, told in enumerate(facts["domains"]):
        click.echo(("\n" if number else "") + _head(told, facts))
        show = _show_clips if told["kind"] == CLIPS else _show_pictures
        show(told, facts)
        for line in _sentences(told, facts):
            click.echo(line)
    click.echo(f"  {out / 'judged.html'}")


def _head(told: dict[str, Any], facts: dict[str, Any]) -> str:
    by = f"read by {facts['network']} ({facts['network_hash'][:12]})"
    if told["kind"] == CLIPS:
        return f"{told['name']}: {told['frames']} frames of {told['clips']} clips, {by}"
    dogs = f"{told['dogs_judged']} of {told['dogs_marked']} marked dogs in {told['pictures']} pictures"
    return f"{told['name']}: {dogs}, {by}"


def _show_pictures(told: dict[str, Any], facts: dict[str, Any]) -> None:
    limits = facts["settings"]["judging"]["limits"]
    click.echo(
        f"{'share of landmarks within':<28}" + "".join(f"{100 * limit:>6g} %" for limit in limits) + f"{'of':>7}"
    )
    for name, shares in told["landmarks"].items():
        values = "".join(f"{shares[f'within_{100 * limit:g}_percent']:>8.3f}" for limit in limits)
        click.echo(f"  {name.replace('_', ' '):<26}{values}{shares['count']:>7}")


def _show_clips(told: dict[str, Any], _facts: dict[str, Any]) -> None:
    line = told["whole_line"]
    width = max(len(name) for name in (*line["clips"], "all clips")) + 2
    click.echo(
        f"{'':{width}}{'within 5 %':>11}{'exchanged':>11}{'touchdown (bias)':>20}{'lift-off (bias)':>20}"
        f"{'names r/w/u/d':>17}{'topline':>9}"
    )
    for name, row in (*line["clips"].items(), ("all clips", line["all"])):
        click.echo(f"{name:{width}}{_clip_line(row)}")
        if "not_read" in row:
            click.echo(f"  not read: {row['not_read']}")


def _clip_line(row: dict[str, Any]) -> str:
    """One clip, or all: landmarks, exchanged pairs, contacts, names right / wrong / unclear / dropped, topline."""
    names = "/".join(str(count) for count in row["names"].values())
    topline = row.get("topline_off_deg", row.get("topline_deg"))
    words = "-" if topline is None else signed(topline, 2) if "topline_off_deg" in row else f"{topline:.2f}"
    return (
        f"{_number(row, 'within_5_percent'):>9} %{_number(row, 'exchanged_percent'):>9} %"
        f"{_timing(row, 'touchdown'):>20}{_timing(row, 'liftoff'):>20}{names:>17}"
        f"{words:>9}"
    )


def _number(row: dict[str, Any], name: str) -> str:
    return f"{row[name]:.1f}" if name in row else "-"


def _timing(row: dict[str, Any], event: str) -> str:
    median = f"{event}_median_ms"
    return f"{row[median]:.1f} ({signed(row[f'{event}_bias_ms'])}) ms" if median in row else "-"


def _sentences(told: dict[str, Any], facts: dict[str, Any]) -> list[str]:
    pairs = told["exchanged_pairs"]
    words = told_change(told["change"]) if "change" in told else ""
    lines = [f"From {facts['against']['network']} to {facts['network']}: {words}"] if words else []
    lines += [_precision_words(told["precision"])] if told["precision"] else []
    lines += [_miss_words(told["misses"])] if any(told["misses"].values()) else []
    lines.append(
        f"near and far exchanged in {pairs['exchanged']} of {pairs['of']} pairs, "
        f"{pairs['exchanged_among_found']} of the {pairs['found']} whose paws were both found"
    )
    if untold(told):
        lines.append(untold(told))
    if told["dogs_left_out"]:
        lines.append(f"not judged, since trained on: {', '.join(told['dogs_left_out'])}")
    return lines + (_picture_sentences(told) if told["kind"] != CLIPS else [])


def _precision_words(told: dict[str, Any]) -> str:
    """'OKS-AP 0.812 (0.744 to 0.861); at 0.50 0.970, at 0.75 0.861'."""
    whole = told["average_precision"]
    span = f" ({whole['low']:.3f} to {whole['high']:.3f})" if "low" in whole else ""
    each = ", ".join(f"at {limit} {value:.3f}" for limit, value in told["at_similarity"].items())
    return f"OKS-AP {whole['mean']:.3f}{span}; {each}"


def _picture_sentences(told: dict[str, Any]) -> list[str]:
    facing, empty = told["facing"], told["pictures_without_dog"]
    lines = [
        f"way it faces correct in {facing['right']} of {facing['right'] + facing['wrong']}; "
        f"no dog found in {len(told['no_dog_found'])}"
    ]
    if empty["pictures"]:
        lines.append(f"a dog found in {len(empty['dog_found'])} of {empty['pictures']} pictures without a marked dog")
    if told["dogs_not_read"]:
        lines.append(f"marked dogs not read: {told['dogs_not_read']} (one is read in each picture)")
    if told["dogs_without_length"]:
        lines.append(f"dogs not judged, withers and croup are not both marked: {len(told['dogs_without_length'])}")
    return lines


def _miss_words(found: dict[str, dict[str, int]]) -> str:
    """Misses by kind: 'paws missed: 12 on partner, 3 elsewhere; withers and croup: 8 along back'."""
    words = []
    for what, kinds, marks in (("paws", PAW_MISSES, LANDMARKS[:4]), ("withers and croup", TRUNK_MISSES, LANDMARKS[4:])):
        sums = {kind: sum(found[mark].get(kind, 0) for mark in marks) for kind in kinds}
        told = ", ".join(f"{count} {kind.replace('_', ' ')}" for kind, count in sums.items() if count)
        words.append(f"{what} missed: {told or 'none'}")
    return "; ".join(words)
