"""A mount is judged by what it lets through, from the engine's side to the body's."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.evidence import made as maker
from vibecore.evidence import gather


def test_transmissibility_of_a_mount() -> None:
    """A mount that passes half of it (6 dB) no longer isolates; a sound one holds back 20 dB (rule of
    thumb).
    """

    def ratio(body: float) -> float:
        engine_side = maker.made("on-engine", {2.0: 1.0}, place="engine")
        body_side = maker.made("on-body", {2.0: body}, place="body")
        found = [e for e in gather([engine_side, body_side], maker.FOUR) if e.finding == "isolation"]
        return {e.cause: e.log_ratio_db for e in found}["engine-mount"]

    assert ratio(0.5) > 3
    assert ratio(0.05) < -1


def test_isolation_is_told_by_the_body_side_in_whatever_order_the_recordings_stand() -> None:
    """The wheel has modes of its own; a mount is judged beside its body side (`ISOLATION_DB`)."""
    sides = [
        maker.made(place, {2.0: level}, place=place)
        for place, level in (("engine", 1.0), ("steering wheel", 2.0), ("body", 0.05))
    ]
    for made in (sides, sides[::-1]):
        found = [e.evidence for e in gather(made, maker.FOUR) if e.finding == "isolation"]
        assert found
        assert all(set(e.seen_in) == {"engine", "body"} for e in found)


@pytest.mark.parametrize("unsure", ["on-engine", "on-body"])
def test_isolation_counts_as_far_as_both_speeds_are_sure(unsure: str) -> None:
    """With the rest of the chance it tells nothing: a ratio r becomes c r + 1 - c (the law of
    total probability)."""

    def ratio(confidence: float) -> float:
        sides = (("on-engine", 1.0, "engine"), ("on-body", 0.5, "body"))
        pair = [maker.made(name, {2.0: level}, place=place) for name, level, place in sides]
        sure = [confidence if name == unsure else 1.0 for name, *_ in sides]
        pair = [replace(a, speed=replace(a.speed, confidence=c)) for a, c in zip(pair, sure, strict=True)]
        found = {e.cause: e.log_ratio_db for e in gather(pair, maker.FOUR) if e.finding == "isolation"}
        return 10 ** (found["engine-mount"] / 10)

    assert ratio(0.4) == pytest.approx(0.4 * ratio(1.0) + 0.6)
