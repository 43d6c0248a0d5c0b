"""Start the page on this computer, or for the phones of the workshop's network."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
import webbrowser
from pathlib import Path
from typing import TYPE_CHECKING

import segno
import typer

from app.errors import AppError, UsageInvalid

if TYPE_CHECKING:
    from types import FrameType

__all__ = [
    "PageNotStarted",
    "free_port",
    "has_display",
    "network_address",
    "page_command",
    "run_page",
]

DEFAULT_PORT = 8734
LOOPBACK = "127.0.0.1"
_PORTS_TRIED = 50
_START_LIMIT_S = 60.0
_STOP_LIMIT_S = 5.0

_LAN_QUESTION = (
    "Anyone on this network will be able to open the page and the logbook.\n"
    "Nothing is encrypted. Go on?"
)


class PageNotStarted(AppError):  # noqa: N818 - named after what is wrong
    """The page server ended before it answered."""


def run_page(*, port: int | None, lan: bool, open_browser: bool) -> int:
    """Run the page until Ctrl-C and return the exit code.

    Parameters
    ----------
    port : int or None
        Port wanted; ``None`` takes the usual one, or the next that is free.
    lan : bool
        Whether other devices on the network may open the page; asks first.
    open_browser : bool
        Whether to open a browser here, where there is a screen.

    Raises
    ------
    UsageInvalid
        If the port is taken, or there is no network.
    PageNotStarted
        If the page server does not come up.
    """
    host = network_address() if lan else LOOPBACK
    if lan:
        typer.confirm(_LAN_QUESTION, abort=True, err=True)
    chosen = free_port(host, port)
    address = f"http://{host}:{chosen}"
    signal.signal(signal.SIGTERM, _as_interrupt)
    with subprocess.Popen(page_command(host, chosen), stdout=subprocess.DEVNULL) as server:  # noqa: S603
        try:
            _wait_until_up(server, address)
            _announce(address, lan=lan)
            if open_browser and has_display():
                webbrowser.open(address)
            server.wait()
        except KeyboardInterrupt:
            sys.stderr.write("\nStopped.\n")
        finally:
            _stop(server)
    return 0


def _as_interrupt(_number: int, _frame: FrameType | None) -> None:
    raise KeyboardInterrupt


def page_command(host: str, port: int) -> list[str]:
    """Return the command of the page server; its other settings lie beside the page."""
    command = [
        sys.executable,
        "-m",
        "streamlit",
        "run",
        str(Path(__file__).with_name("main.py")),
    ]
    command += ["--server.address", host, "--server.port", str(port)]
    if host != LOOPBACK:
        command += ["--server.allowedHosts", host]
    return command


def free_port(host: str, wanted: int | None) -> int:
    """Return the port wanted if it is free, or the first free one from the usual upwards.

    Raises
    ------
    UsageInvalid
        If the wanted port, or all that were tried, are taken.
    """
    tried = [wanted] if wanted is not None else range(DEFAULT_PORT, DEFAULT_PORT + _PORTS_TRIED)
    for port in tried:
        with socket.socket() as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind((host, port))
            except OSError:
                continue
            return port
    raise UsageInvalid(f"port {wanted or DEFAULT_PORT} is taken; choose another with --port")


def network_address() -> str:
    """Return this computer's address on the local network; nothing is sent to find it.

    Raises
    ------
    UsageInvalid
        If there is no network.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            # Set aside for documentation (RFC 5737): only the route is looked up.
            probe.connect(("192.0.2.1", 9))
        except OSError as error:
            raise UsageInvalid("this computer is in no network") from error
        host = str(probe.getsockname()[0])
    if host.startswith("127."):
        raise UsageInvalid("this computer is in no network")
    return host


def has_display() -> bool:
    """Whether a browser window can open here; a browser inside the terminal is no help."""
    if sys.platform in {"win32", "darwin"}:
        return True
    return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


def _wait_until_up(server: subprocess.Popen[bytes], address: str) -> None:
    deadline = time.monotonic() + _START_LIMIT_S
    while time.monotonic() < deadline:
        if server.poll() is not None:
            raise PageNotStarted(f"the page server ended with {server.returncode}")
        try:
            with urllib.request.urlopen(f"{address}/_stcore/health", timeout=2):  # noqa: S310 - ours
                return
        except (urllib.error.URLError, TimeoutError, ConnectionError):
            time.sleep(0.1)
    raise PageNotStarted("the page server did not answer")


def _announce(address: str, *, lan: bool) -> None:
    typer.echo(f"Bluecurl is at {address}")
    if lan:
        typer.echo("Open it on a phone in the same network:")
        segno.make(address, micro=False).terminal(compact=True)
    typer.echo("Ctrl-C stops it.", err=True)
    sys.stdout.flush()


def _stop(server: subprocess.Popen[bytes]) -> None:
    if server.poll() is None:
        server.terminate()
        try:
            server.wait(_STOP_LIMIT_S)
        except subprocess.TimeoutExpired:
            server.kill()
