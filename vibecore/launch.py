"""Start the app's server, on this machine only and telling nobody; no configuration file is needed."""

from __future__ import annotations

import os
import socket
from pathlib import Path

from vibecore.errors import VibecoreError
from vibecore.places import app_script
from vibecore.store import DATA_VARIABLE, MAX_JOB_BYTES

HOST = "127.0.0.1"  # never a public interface: recordings and customers' names stay on this machine
# The largest job as a zip: its results come on top, and what does not shrink grows a little.
MAX_UPLOAD_MB = MAX_JOB_BYTES // 2**20 + 16

OWN_NAMES = (HOST, "localhost")  # a page elsewhere that points its name at this server is turned away

SETTINGS = {
    "server.address": HOST,
    "server.enableXsrfProtection": "true",
    "server.enableCORS": "true",
    "server.maxUploadSize": str(MAX_UPLOAD_MB),
    "server.showEmailPrompt": "false",  # it would wait for an answer on standard input
    "server.fileWatcherType": "none",
    "browser.gatherUsageStats": "false",
    "client.toolbarMode": "minimal",
}


def arguments(script: Path, port: int | None) -> list[str]:
    """The server's command line for that script."""
    settings = SETTINGS | ({} if port is None else {"server.port": str(port)})
    pairs = [
        *settings.items(),
        *(("server.allowedHosts", name) for name in OWN_NAMES),
    ]  # a list: once for each
    return ["run", str(script), *(f"--{key}={value}" for key, value in pairs)]


def start(port: int | None, data: Path | None) -> None:
    """Serve the app until it is stopped. Raises VibecoreError if port or data folder cannot be had."""
    script = app_script()
    if port is not None:
        _check_free(port)
    if data is not None:
        os.environ[DATA_VARIABLE] = str(_writable(data))
    from streamlit.web import cli as server  # most of a second: nothing but the app needs it

    server.main(arguments(script, port), prog_name="streamlit")


def _writable(folder: Path) -> Path:
    folder = folder.expanduser().resolve()
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise VibecoreError(
            f"The data folder {folder} cannot be made: {error.strerror}. Choose another."
        ) from None
    if not os.access(folder, os.W_OK):
        raise VibecoreError(f"The data folder {folder} cannot be written to. Choose another.")
    return folder


def _check_free(port: int) -> None:
    with socket.socket() as probe:
        if os.name == "posix":
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)  # a port just left counts as free
        try:
            probe.bind((HOST, port))
        except OSError as error:
            raise VibecoreError(
                f"Port {port} cannot be used ({error.strerror}). Choose another with --port, or leave it out."
            ) from None
