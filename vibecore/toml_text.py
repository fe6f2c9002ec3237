"""TOML that a person wrote, parsed; what is wrong with it is told in a sentence."""

from __future__ import annotations

import tomllib
from typing import Any

from vibecore.errors import VibecoreError


def parsed(text: str, name: str, refused: type[VibecoreError]) -> dict[str, Any]:
    """The tables in a text. Raises `refused`, which names the file as `name`, if it is not valid."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise refused(f"{name} is not a valid TOML file: {error}. Correct that place.") from None
    except ValueError:  # Python reads no whole number of more than 4300 digits
        raise refused(f"{name}: a number has thousands of digits. Correct it.") from None
    except RecursionError:
        raise refused(f"{name} nests lists too deeply to be read.") from None
