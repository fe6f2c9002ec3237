"""What a finding means for a cause, as a mechanic says it."""

from __future__ import annotations

from vibecore.constants import NOT_LISTED, SOUND
from vibecore.engine import Engine
from vibecore.units import signed, times_against

ENGINE_WORDS = {
    1: "single",
    2: "twin",
    3: "three",
    4: "four",
    5: "five",
    6: "six",
    8: "eight",
    10: "ten",
    12: "twelve",
}
NEAR_DB = 3.0  # within this of a sound car's level is 'about'

FAULT_WORDS = {
    SOUND: "a sound car",
    "cylinder-misfire": "one dead cylinder",
    "uneven-combustion": "uneven burning",
    "engine-mount": "a bad mount",
    "rotating-imbalance": "imbalance of the crank's parts",
    "accessory-drive": "a fault in the belt drive",
    "cooling-fan": "the electric fan",
    "idle-resonance": "an idle that sits on a natural frequency",
    "exhaust-contact": "an exhaust that touches",
    "driveline": "a fault in converter or gearbox",
    "wheel-imbalance": "a wheel out of balance",
    "propshaft": "the propeller shaft",
    NOT_LISTED: "something else",
}

MENDED = "mended"  # how the names of findings about what a repair changed begin
LEVEL_FINDINGS = ("firing", "gear", "raised", "half", "one", "second", "ground")

# (finding, cause): what it means when it speaks for, and against
ANY_CAUSE = "any"
MEANINGS: dict[tuple[str, str], tuple[str, str]] = {
    ("half", "cylinder-misfire"): ("one cylinder is not pulling", "no cylinder is missing its stroke"),
    ("half", "uneven-combustion"): ("the cylinders do not pull alike", "the cylinders pull alike"),
    ("one", "rotating-imbalance"): (
        "something that turns with the crank is out of balance",
        "the crank runs true",
    ),
    ("one", "cylinder-misfire"): ("a missing stroke shows here too", "a missing stroke would show here too"),
    ("firing", "engine-mount"): ("the mounts let the firing through", "the mounts hold the firing back"),
    ("gear", "engine-mount"): ("load presses on a bad mount", "load does not press on a bad mount"),
    ("raised", "engine-mount"): ("a bad mount passes it at any speed", "a bad mount would still pass it"),
    ("raised", "idle-resonance"): (
        "idle sat on a natural frequency",
        "a natural frequency would have been left",
    ),
    ("firing", "idle-resonance"): ("wheel, seat or body answers the firing", "nothing answers the firing"),
    ("second", "exhaust-contact"): ("metal meets metal", "no metal meets metal"),
    ("second", "engine-mount"): ("the rubber is bridged", "the rubber is not bridged"),
    ("ground", "exhaust-contact"): ("it rattles", "it does not rattle"),
    ("ground", "uneven-combustion"): ("no stroke is like the last", "the strokes are alike"),
    ("ground", "driveline"): ("it rumbles with the load", "no rumble with the load"),
    ("steadiness", "cylinder-misfire"): (
        "the same cylinder fails every cycle",
        "no one cylinder fails every cycle",
    ),
    ("steadiness", "uneven-combustion"): ("the burning differs from cycle to cycle", "every cycle is alike"),
    ("hunting", "uneven-combustion"): ("it hunts", "it does not hunt"),
    ("line keeps order", "accessory-drive"): (
        "the belt or what it drives turns so",
        "nothing on the belt shakes",
    ),
    ("line keeps hertz", "cooling-fan"): ("it has its own motor", "nothing with its own motor shakes"),
    ("engine off", "cooling-fan"): ("only the fan turns then", "the fan did not shake then"),
    ("unit only", "accessory-drive"): ("the unit or its belt shakes", "no unit brings a shake"),
    ("unit only", "cooling-fan"): ("the fan may start with it", "no fan starts to shake with it"),
    ("fan only", "cooling-fan"): ("it is the fan's own", "the fan brings no shake"),
    ("judder", "driveline"): ("it judders with the load", "it does not judder with the load"),
    ("bursts", "exhaust-contact"): ("blows, as of metal on metal", "there are no blows"),
    ("bursts", "uneven-combustion"): ("strokes of unlike strength", "the strokes are alike"),
    ("reach", "exhaust-contact"): ("blows reach high", "blows would reach higher"),
    ("reach", "uneven-combustion"): (
        "the rubber keeps back what is fast",
        "rubber would keep back more of it",
    ),
    ("rattle", "exhaust-contact"): (
        "metal touches metal in one and not in the other",
        "nothing rattles with the gear",
    ),
    ("gear only", "driveline"): ("it comes with the load", "nothing comes with the load"),
    ("gone in gear", "driveline"): ("the converter's turbine stands then", "no turbine shakes out of gear"),
    ("mended idle", "idle-resonance"): ("it was raised off a natural frequency", "it was not raised"),
    ("idle speed", "idle-resonance"): ("a low idle meets natural frequencies", "the idle is not low"),
    ("firing over speed", "idle-resonance"): (
        "it sits on a natural frequency or beside one",
        "no natural frequency near",
    ),
    ("whole shake", SOUND): ("sound cars shake as much", "sound cars shake less"),
    ("whole shake", ANY_CAUSE): ("so much is complained of", "nobody complains of so little"),
    ("isolation", "engine-mount"): ("the mount no longer isolates", "the mount isolates"),
}


# Which way from what is usual a change in gear or at a raised idle moves under a cause: on that side, words
# that deny the cause outright would deny the figures.
LEANS: dict[tuple[str, str], int] = {
    ("gear", "engine-mount"): 1,
    ("raised", "engine-mount"): 1,
    ("raised", "idle-resonance"): -1,
}


def engine_words(engine: Engine) -> str:
    """'a sound four'."""
    return f"a sound {ENGINE_WORDS.get(engine.cylinders, f'engine of {engine.cylinders} cylinders')}"


def meaning(finding: str, cause: str, speaks_for: bool, *, plainly: bool = False) -> str:
    """What the finding says about the cause; plainly: no more than whether it fits."""
    known = None if plainly else MEANINGS.get((finding, cause)) or MEANINGS.get((finding, ANY_CAUSE))
    if known:
        return known[0] if speaks_for else known[1]
    if cause == SOUND and finding.startswith(MENDED):
        return "as if nothing had been wrong there" if speaks_for else "so something was wrong there"
    if cause == SOUND and finding in LEVEL_FINDINGS:
        return "still as in many sound cars" if speaks_for else "seldom in a sound car"
    what = FAULT_WORDS.get(cause, cause)
    return f"fits {what}" if speaks_for else f"does not fit {what}"


def over_sound(over_db: float, engine: Engine) -> str:
    """'3.5 times as strong as in a sound four (+11 dB)'."""
    against = "about as strong as" if abs(over_db) < NEAR_DB else times_against(over_db)
    return f"{against} in {engine_words(engine)} ({signed(over_db, 0)} dB)"
