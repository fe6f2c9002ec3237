"""Does an installed vibecore work on its own? Run with the Python it is installed in, from an empty folder:

    cd EMPTY && VENV/bin/python -I CLONE/tests/installed.py

The app must come from the package, open with a demo job, rank its causes, and serve on this machine only.
"""

from __future__ import annotations

import json
import os
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from pathlib import Path

PAGE_TIMEOUT_S = 180.0  # the first page analyses a demo job; machines of a check service are slow
SERVER_TIMEOUT_S = 90.0
COMMAND = Path(sys.executable).with_name("vibecore.exe" if os.name == "nt" else "vibecore")


def check_page(cause: str) -> None:
    """The first page, run without a server, names that cause of the first demo job and how likely it is."""
    from streamlit.testing.v1 import AppTest

    from vibecore.places import app_script, demo_folder

    script, demo = app_script(), demo_folder()
    assert "bundled" in script.parts, f"the app came from {script}, not from the package"
    assert "bundled" in demo.parts, f"the demo jobs came from {demo}, not from the package"
    sys.path.insert(0, str(script.parent))  # as the server does
    page = AppTest.from_file(str(script), default_timeout=PAGE_TIMEOUT_S).run()
    assert not page.exception, page.exception
    assert not page.error, [e.value for e in page.error]
    shown = " ".join(
        str(element.value) for element in (*page.markdown, *page.title, *page.header, *page.subheader)
    )
    assert cause in shown, f"no ranked cause on the first page: {shown[:2000]}"
    assert "%" in shown
    print(f"first page: {len(shown)} characters, no error")


def check_command() -> str:
    """The command ranks the causes of every demo job; returns the first cause of the first one."""
    from vibecore.places import demo_folder

    cases = sorted(str(p) for p in demo_folder().glob("*/case.toml"))
    done = subprocess.run([str(COMMAND), "diagnose", "--json", *cases], capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr
    answers = [json.loads(line) for line in done.stdout.splitlines()]
    for found in answers:
        first = found["causes"][0]
        print(f"{Path(found['case']).parent.name}: {first['name']} ({first['probability']:.0%})")
    assert len(answers) == len(cases) > 0
    return str(answers[0]["causes"][0]["name"])


def check_server() -> None:
    """The server answers on this machine, and only under its own name."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    with tempfile.TemporaryDirectory() as data:
        environment = {**os.environ, "STREAMLIT_SERVER_HEADLESS": "true"}
        server = subprocess.Popen(
            [str(COMMAND), "app", "--port", str(port), "--data", data],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            env=environment,
        )
        try:
            wait_for(f"http://127.0.0.1:{port}/_stcore/health", server)
            assert handshake(port, f"127.0.0.1:{port}") == 101
            assert handshake(port, f"elsewhere.example:{port}") == 403
        finally:
            server.terminate()
            server.wait(timeout=20)
    print(f"server: answered on 127.0.0.1:{port}")


def handshake(port: int, host: str) -> int:
    """Status of opening the page's WebSocket under that host name (101: opened, RFC 6455)."""
    lines = [
        f"GET /_stcore/stream HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}",
        "Connection: Upgrade\r\nUpgrade: websocket\r\nSec-WebSocket-Version: 13",
        "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n\r\n",
    ]
    with socket.create_connection(("127.0.0.1", port), timeout=20) as connection:
        connection.sendall("\r\n".join(lines).encode())
        return int(connection.recv(64).split()[1])


def wait_for(address: str, server: subprocess.Popen[bytes]) -> None:
    """Until the server says that it is well; AssertionError if it stops or takes too long."""
    end = time.monotonic() + SERVER_TIMEOUT_S
    while time.monotonic() < end:
        assert server.poll() is None, f"the server stopped with status {server.returncode}"
        try:
            with urllib.request.urlopen(address, timeout=5) as answer:
                assert answer.read() == b"ok"
                return
        except OSError:
            time.sleep(0.5)
    raise AssertionError(f"no answer from {address} within {SERVER_TIMEOUT_S:.0f} s")


if __name__ == "__main__":
    check_server()
    check_page(check_command())
