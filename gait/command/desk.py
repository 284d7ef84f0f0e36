"""`pawfall desk`: serves the desk of one caseload and opens the browser."""

import socket
import webbrowser
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from threading import Timer
from typing import Any, Final

import click
import uvicorn

from gait.caseload.crew import usable_cores
from gait.caseload.keys import wanted_of
from gait.caseload.store import open_store
from gait.command.mark import BROWSER_WAIT_S, guarded
from gait.desk.app import build_desk
from gait.desk.errors import DeskError
from gait.desk.kept import changed, read_kept, write_kept
from gait.desk.marking import Marking
from gait.desk.room import Desk, open_desk
from gait.desk.safety import LOOPBACK, hashed

#: s that requests under way may still take when the desk is stopped; live pictures never end by themselves.
GRACE_S: Final = 2


def desk_command(home: Path, database: str | None, marking: Marking | None, options: dict[str, Any]) -> int:
    """Serve until stopped; exit code 2 when that cannot be."""

    def work() -> int:
        """Set what was asked for, open everything, serve."""
        home.mkdir(parents=True, exist_ok=True)
        if options["no_password"] or options["set_password"]:
            return _password(home, remove=options["no_password"])
        with closing(open_store(home, database)) as store:
            wanted = wanted_of(options["network"], options["precision"])
            desk = open_desk(store, wanted, options["workers"] or usable_cores())
            return _serve(desk, marking, options)

    return guarded(work)


def _password(home: Path, *, remove: bool) -> int:
    kept = read_kept(home.resolve())
    new = "" if remove else hashed(click.prompt("New password", hide_input=True, confirmation_prompt=True))
    write_kept(home.resolve(), changed(kept, password_hash=new))
    click.echo("this desk asks for no password" if remove else "this desk asks for the password from now on")
    return 0


def _serve(desk: Desk, marking: Marking | None, options: dict[str, Any]) -> int:
    host = options["host"]
    alone = host in LOOPBACK
    if not alone and not desk.kept.password_hash:
        raise DeskError(f"Other machines reach a desk on {host}; set a password first: pawfall desk --set-password")
    with closing(listen(host, options["port"])) as opened:
        address = f"http://{host}:{opened.getsockname()[1]}/"
        app = build_desk(desk, hosts=LOOPBACK if alone else ("*",), marking=marking)
        app.state.alone, app.state.cameras = alone, options["camera"]
        reached = "this machine alone" if alone else "whoever knows the password"
        click.echo(f"{desk.home}\n  {address}   ({reached}; Ctrl+C stops)")
        if not options["no_browser"]:
            _open_soon(lambda: webbrowser.open(address))
        config = uvicorn.Config(app, log_level="warning", timeout_graceful_shutdown=GRACE_S, server_header=False)
        uvicorn.Server(config).run(sockets=[opened])
    return 0


def listen(host: str, port: int) -> socket.socket:
    """A socket on ``port`` of ``host``, 0 = any. Raises DeskError when it cannot be had."""
    opened = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    opened.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        opened.bind((host, port))
    except OSError as error:
        opened.close()
        raise DeskError(f"{host}:{port} cannot be used ({error.strerror}). Does a desk run already? Else give another "
                        "--port.") from error  # fmt: skip
    return opened


def _open_soon(act: Callable[[], Any]) -> None:
    opening = Timer(BROWSER_WAIT_S, act)
    opening.daemon = True
    opening.start()
