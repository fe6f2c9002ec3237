"""How the app starts: on this machine only, on a free port, with its places found."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from vibecore import cli, launch, places
from vibecore.errors import VibecoreError


def _run(*arguments: str) -> Result:
    return CliRunner().invoke(cli.cli, arguments)


def test_the_app_listens_on_this_machine_only_and_tells_nobody() -> None:
    given = launch.arguments(Path("main.py"), 8600)
    for wanted in (
        "--server.address=127.0.0.1",
        "--server.enableXsrfProtection=true",
        "--browser.gatherUsageStats=false",
        "--server.showEmailPrompt=false",
        "--server.port=8600",
    ):
        assert wanted in given
    assert [a for a in given if "allowedHosts" in a] == [
        "--server.allowedHosts=127.0.0.1",
        "--server.allowedHosts=localhost",
    ]


def test_the_server_knows_every_setting() -> None:
    """The server's own list of options is the outside check: an option it dropped would stop the start."""
    from streamlit import config

    known = config.get_config_options()
    assert {*launch.SETTINGS, "server.allowedHosts"} <= set(known)


def test_a_busy_port_and_a_bad_folder_are_told(tmp_path: Path) -> None:
    import socket

    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        busy = _run("app", "--port", str(port), "--data", str(tmp_path))
    assert busy.exit_code == 1
    assert str(port) in busy.stderr
    (tmp_path / "file").touch()
    bad = _run("app", "--data", str(tmp_path / "file" / "data"))
    assert bad.exit_code == 1
    assert "data folder" in bad.stderr


def test_places_are_found_in_a_checkout_and_in_a_wheel(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    package = tmp_path / "vibecore"
    package.mkdir()
    monkeypatch.setattr(places, "PACKAGE", package)
    with pytest.raises(VibecoreError, match="lacks its recordings"):
        places.demo_folder()
    (tmp_path / "recordings").mkdir()
    assert places.demo_folder() == tmp_path / "recordings"
    (package / "bundled" / "recordings").mkdir(parents=True)
    assert places.demo_folder() == package / "bundled" / "recordings"
