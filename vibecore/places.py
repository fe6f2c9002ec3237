"""Where the app and the demo jobs lie: beside the package in a checkout, inside it in an installed wheel."""

from __future__ import annotations

from pathlib import Path

from vibecore.errors import VibecoreError

PACKAGE = Path(__file__).resolve().parent


def app_script() -> Path:
    """The script that starts the app. Raises VibecoreError if the installation lacks it."""
    return _find("app/main.py")


def demo_folder() -> Path:
    """The folder of the invented demo jobs, one folder a job, each with a case.toml. Raises VibecoreError."""
    return _find("recordings")


def _find(name: str) -> Path:
    for root in (PACKAGE / "bundled", PACKAGE.parent):  # a wheel carries its own; only a checkout has none
        if (root / name).exists():
            return root / name
    raise VibecoreError(f"This installation of vibecore lacks its {name}. Install it again with pip.")
