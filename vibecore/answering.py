"""Answers of the command line: one after another, each in words or as one JSON object a line, none of which
stops another."""

from __future__ import annotations

import contextlib
import json
import os
import sys
import traceback
from collections.abc import Callable, Iterator, Sequence
from typing import Any

import click

from vibecore.errors import VibecoreError

DEBUG_VARIABLE = "VIBECORE_DEBUG"  # set it to see where an unforeseen error came from

Answer = tuple[dict[str, Any], str]  # the object for programs, the text for people


class UnansweredError(Exception):
    """An input without an answer: a sentence, and the file at fault if the input has several."""

    def __init__(self, sentence: str, file: str | None = None) -> None:
        super().__init__(sentence)
        self.file = file


def answer_all(
    inputs: Sequence[str], kind: str, answer: Callable[[str], Answer], as_json: bool, **also: str
) -> None:
    """Answer each input in turn, whatever became of the ones before; then leave with the exit status."""
    from vibecore.contract import error_object

    complete = True
    for number, one in enumerate(inputs):
        try:
            with in_words():
                found, text = answer(one)
                line = json.dumps(found, allow_nan=False)
            complete = complete and all(r.get("ok", True) for r in found.get("recordings", []))
        except UnansweredError as error:
            complete, text, name = False, "", shown(error.file or one)
            line = json.dumps(error_object(str(error), **{kind: name}, **also))
            if not as_json:
                click.echo(f"{name}: {error}", err=True)
        if as_json:
            click.echo(line)
        elif text:
            click.echo(("\n" if number else "") + text)
    if not complete:
        sys.exit(1)


@contextlib.contextmanager
def in_words(file: str | None = None) -> Iterator[None]:
    """Turn every error into a sentence, and keep what libraries print off standard output."""
    try:
        with contextlib.redirect_stdout(sys.stderr):
            yield
    except UnansweredError:
        raise
    except VibecoreError as error:
        raise UnansweredError(str(error), file) from error
    except Exception as error:  # an unforeseen one must not stop the other inputs
        raise UnansweredError(unforeseen(error), file) from error


def unforeseen(error: Exception) -> str:
    """A sentence for an error that nobody foresaw, and its traceback if that is asked for."""
    if os.environ.get(DEBUG_VARIABLE):
        traceback.print_exception(error, file=sys.stderr)
    if isinstance(error, MemoryError):
        return "There is not enough memory for this. Close other programs, or cut the recording shorter."
    return (
        f"This could not be answered because of a fault in vibecore ({type(error).__name__}). "
        f"Set {DEBUG_VARIABLE}=1 to see where, and report it with the file."
    )


def shown(path: str) -> str:
    """The name as given, made printable: file names may hold bytes that are no text."""
    return path.encode("utf-8", "surrogateescape").decode("utf-8", "replace")
