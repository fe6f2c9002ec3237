"""Who may know whom, as data: imports point up one list, and the science touches no file, screen or clock."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent

# The order in which data flow. A module may import those above it; a package counts as one.
LAYERS = [
    *("errors", "units", "constants", "toml_text", "model"),
    *("runs", "blocks", "between", "hann", "normal", "angles"),
    *("balance", "engine", "case_text", "simulate"),
    *("reading", "timebase", "quality", "steady", "conditioning", "drives"),
    *(
        "spectra",
        "speed",
        "turning",
        "order_bands",
        "orders",
        "firing",
        "resonance",
        "met",
        "wander",
        "drifting",
        "comfort",
        "cycles",
        "beats",
    ),
    *("copies", "spoken"),
    "sound_cars",
    *("evidence", "causes", "repair", "pipeline"),
    *("casefile", "case", "contract", "harmless", "words", "terminal", "mending", "plan"),
    "trying",
    *("safe_names", "store", "guess", "by_name", "jobs", "merging", "waterfall", "figures"),
    *("drawing", "paper", "report", "pair_report", "exchange"),
    *("places", "launch", "answering", "cli"),
]

# These alone may touch files, environment, processes or the clock.
EDGES = {"reading", "case", "store", "jobs", "places", "launch", "answering", "cli"}
OUTSIDE_WORLD = {"os", "sqlite3", "socket", "subprocess", "shutil", "tempfile", "time", "datetime", "logging"}
SCREEN = {"streamlit", "plotly", "matplotlib", "click"}
SCREENS_OF = {
    "figures": {"plotly"},
    "answering": {"click"},
    "cli": {"click"},
    "launch": {"streamlit"},
}


def sources(folder: str) -> list[Path]:
    return sorted(p for p in (ROOT / folder).rglob("*.py") if "bundled" not in p.parts)


def module_name(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def imported(tree: ast.AST, package: list[str]) -> Iterator[str]:
    """Full names of all that is imported, inside functions too, but not what only a type checker reads."""
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test):
            continue
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = package[: len(package) + 1 - node.level] if node.level else []
            origin = ".".join([*base, *([node.module] if node.module else [])])
            yield from (f"{origin}.{alias.name}" for alias in node.names)
        else:
            yield from imported(node, package)


def imports_of(path: Path) -> set[str]:
    package = list(path.relative_to(ROOT).parts[:-1])
    return set(imported(ast.parse(path.read_text(encoding="utf-8")), package))


def layer(name: str) -> str | None:
    """`vibecore.speed.comb.f` -> `speed`; None for what is no module of the package."""
    parts = name.split(".")
    return parts[1] if parts[0] == "vibecore" and len(parts) > 1 and parts[1] in MODULES else None


MODULES = {p.stem if p.is_file() else p.name for p in (ROOT / "vibecore").iterdir()} - {
    "__init__", "__pycache__", "bundled",
}  # fmt: skip
PACKAGE = [p for p in sources("vibecore") if p != ROOT / "vibecore" / "__init__.py"]


def test_every_module_has_its_place() -> None:
    modules = {str(layer(module_name(p))) for p in PACKAGE}
    assert modules == set(LAYERS), f"give {modules - set(LAYERS)} a place, take {set(LAYERS) - modules} out"
    assert EDGES | SCREENS_OF.keys() <= modules


@pytest.mark.parametrize("path", PACKAGE, ids=module_name)
def test_imports_point_up_only(path: Path) -> None:
    own = layer(module_name(path))
    place = LAYERS.index(str(own))
    below = {used for name in imports_of(path) if (used := layer(name)) and LAYERS.index(used) > place}
    assert not below, f"{module_name(path)} may not know {below}"


@pytest.mark.parametrize("path", PACKAGE, ids=module_name)
def test_the_simulator_is_apart_from_what_it_tries(path: Path) -> None:
    """What reads recordings never knows it, and it knows nothing of how they are read: else its truth would
    be none."""
    own, used = layer(module_name(path)), {layer(name) for name in imports_of(path)}
    if own == "simulate":
        assert used <= {
            "simulate",
            "balance",
            "engine",
            "case_text",
            "model",
            "units",
            "constants",
            "errors",
            None,
        }
    else:
        assert "simulate" not in used


def test_the_map_for_developers_names_every_module() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    told = text[text.index("## The map") : text.index("## Vocabulary")]
    missing = [name for name in LAYERS if f"`{name}`" not in told and f"`{name}/`" not in told]
    missing += [p.name for p in (ROOT / "app").glob("*.py") if f"`{p.name}`" not in told]
    assert not missing


def test_no_cycles_inside_packages_either() -> None:
    paths = {module_name(p): p for p in PACKAGE}

    def module(name: str) -> str:
        return name if name in paths else name.rpartition(".")[0]  # `from module import thing`

    graph = {own: {module(name) for name in imports_of(path)} & set(paths) for own, path in paths.items()}
    TopologicalSorter(graph).prepare()  # raises CycleError


@pytest.mark.parametrize("path", PACKAGE, ids=module_name)
def test_the_science_touches_no_file_screen_or_clock(path: Path) -> None:
    own = str(layer(module_name(path)))
    roots = {name.split(".")[0] for name in imports_of(path)}
    assert "app" not in roots
    assert not (roots & SCREEN) - SCREENS_OF.get(own, set())
    if own not in EDGES:
        assert not roots & OUTSIDE_WORLD


def test_the_package_itself_loads_nothing() -> None:
    """`import vibecore` must cost nothing: the command line starts with it."""
    roots = {name.split(".")[0] for name in imports_of(ROOT / "vibecore" / "__init__.py")}
    assert roots <= {"__future__", "importlib", "typing"}


@pytest.mark.parametrize("path", sources("app"), ids=module_name)
def test_the_app_only_calls(path: Path) -> None:
    """Arithmetic of signals belongs to the package: the pages know no numerical library."""
    roots = {name.split(".")[0] for name in imports_of(path)}
    assert not roots & {"scipy", "librosa", "sqlite3"}
