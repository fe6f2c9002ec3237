"""A catalogue small enough to work by hand."""

from vibecore.causes.load import Catalogue, catalogue_from_texts

DOES = 'does = { orders = "-", gear = "-", speed = "-", temperature = "-", units = "-" }'
WHEN = ", ".join(
    f'"{word}" = 0.5' for word in ("in gear", "neutral", "air conditioning on", "cold", "warm", "moving")
)
CAUSES = f"""
[[cause]]
id = "a"
name = "A"
prior = 0.5
source = "made up"
lamp = 0.8
{DOES}
note = "-"
shakes_when = {{ {WHEN} }}
[[cause.suspect]]
id = "a1"
name = "A one"
share = 0.6
parts = "-"
cost = [0, 0]
due_km = 100000
source = "made up"
[[cause.suspect]]
id = "a2"
name = "A two"
share = 0.4
parts = "-"
cost = [0, 0]
source = "made up"
[[cause]]
id = "normal"
name = "Sound"
prior = 0.5
source = "made up"
lamp = 0.2
{DOES}
note = "-"
shakes_when = {{ {WHEN} }}
[[cause.suspect]]
id = "nothing"
name = "nothing"
share = 1.0
parts = "-"
cost = [0, 0]
source = "made up"
"""
CHECKS = """
[states]
"wet" = "-"
"belt damaged" = "-"
"fuel smell" = "-"
"overheating" = "-"
"no ventilation" = "-"
[cautions]
running = "belts and fan"
[[check]]
id = "look"
name = "Look"
steps = ["look"]
tools = ["torch"]
skills = []
minutes = 5
dismantling = 0
cost = 0
engine = "running"
unsafe_when = ["wet", "belt damaged", "fuel smell", "overheating", "no ventilation"]
cautions = ["running"]
[[check.outcome]]
id = "yes"
name = "yes"
otherwise = 0.1
given = { a1 = 0.9 }
[[check.outcome]]
id = "no"
name = "no"
otherwise = 0.9
given = { a1 = 0.1 }
"""
CODES = """
[[code]]
first = "P0301"
meaning = "misfire, cylinder 1"
times = { a = 4, a2 = 3 }
[[code]]
first = "P0302"
meaning = "misfire, cylinder 2"
times = { a = 4 }
"""


def small_catalogue() -> Catalogue:
    return catalogue_from_texts(CAUSES, CHECKS, CODES)
