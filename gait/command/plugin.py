"""`pawfall plugin`: the GStreamer element and its hosts."""

import shlex
import sys

import click

from gait.command.edge import CANNOT_USE, EXPECTED, message, say_error


@click.group()
def plugin() -> None:
    """The GStreamer element `pawfall`, for other people's video programs."""


@plugin.command()
def where() -> None:
    """Print the variables that a host needs, as lines for a shell."""
    from gait.plugin.host import environment

    for name, value in environment().items():
        click.echo(f"export {name}={shlex.quote(value)}")


@plugin.command()
def install() -> None:
    """Make every GStreamer program of this user find the element, with no variables set."""
    from gait.plugin.host import install as put

    try:
        click.echo(f"written: {put()}")
    except EXPECTED as error:
        say_error(message(error))
        sys.exit(CANNOT_USE)


@plugin.command()
def check() -> None:
    """Find the element and read a demo clip with it, by gst-inspect-1.0 and gst-launch-1.0."""
    from gait.plugin.host import FILM, installed_path
    from gait.plugin.host import check as attempt

    try:
        tried = attempt()
    except EXPECTED as error:
        say_error(message(error))
        sys.exit(CANNOT_USE)
    how = f"by {installed_path()}" if installed_path().is_file() else "by the variables of pawfall plugin where"
    click.echo(f"{tried.version}: the element is found {how}")
    click.echo(f"{FILM}: {tried.events} events, gait: {', then '.join(tried.gaits) or 'none'}")
