"""The house itself: who imports whom, what loads what, what is written where."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from collections.abc import Iterator
from graphlib import TopologicalSorter
from importlib import metadata, resources
from pathlib import Path

import pytest

import noseroom

PROJECT = Path(__file__).parents[1]
SOURCE = PROJECT / "packaging" / "noseroom"
MODULES = sorted(SOURCE.rglob("*.py"))

LEVELS = (
    (
        "_version",
        "_unit_text",
        "errors",
        "units",
        "tolerances",
        "findings",
        "fingerprints",
        "memo",
        "packing",
        "shelf",
        "threads",
    ),
    ("tables", "envelope"),
    ("survey", "physics", "geometry"),
    ("parts",),
    ("layout", "attached"),
    ("checks",),
    ("workshop", "report"),
    ("pipeline",),
    ("watching", "making"),
    (
        "_plugin_bits",
        "_plugin_bodies",
        "_plugin_clearances",
        "_plugin_creators",
        "_plugin_faceted",
        "_plugin_motion",
        "_plugin_movers",
        "_plugin_round",
        "_plugin_search",
        "_plugin_swept",
        "plugin",
        "cli",
    ),
)
RANK = {name: rank for rank, level in enumerate(LEVELS) for name in level}
STRANGERS = frozenset(LEVELS[2])
TOP_LEVEL = {
    "README.md",
    "DEVELOPERS.md",
    "CHANGELOG.md",
    "LICENSE",
    "pyproject.toml",
    "packaging",
    "tests",
    "vehicle_envelopes",
    "outputs",
}

KERNEL = ("cadquery", "OCP")
MESHES = ("trimesh", "coal", "fcl", "manifold3d")


def module_name(path: Path) -> str:
    parts = path.relative_to(SOURCE.parent).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def nodes(tree: ast.AST, *, on_loading: bool) -> Iterator[ast.AST]:
    """Every node below; on_loading: without what only runs once a function is called."""
    for node in ast.iter_child_nodes(tree):
        yield node
        if not (on_loading and isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)):
            yield from nodes(node, on_loading=on_loading)


def house_imports(path: Path, *, on_loading: bool = False) -> Iterator[str]:
    """Every module of this package that a module imports, by its full name."""
    known = {module_name(one) for one in MODULES}
    for node in nodes(ast.parse(path.read_text(encoding="utf-8")), on_loading=on_loading):
        if isinstance(node, ast.Import):
            yield from (one.name for one in node.names if one.name.split(".")[0] == "noseroom")
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: line {node.lineno} imports relatively"
            if node.module and node.module.split(".")[0] == "noseroom":
                below = [f"{node.module}.{one.name}" for one in node.names]
                yield from (one if one in known else node.module for one in below)


def room(module: str) -> str:
    return module.split(".")[1] if "." in module else ""


@pytest.mark.parametrize("path", [m for m in MODULES if room(module_name(m))], ids=module_name)
def test_imports_go_downward_only(path: Path) -> None:
    own = room(module_name(path))
    for imported in house_imports(path):
        other = room(imported)
        if other == own:
            continue
        assert RANK[other] <= RANK[own], f"{own} imports {imported}, which is above it"
        assert not {own, other} <= STRANGERS, f"{own} imports {imported}: they are strangers"


def test_no_ring_of_imports_on_loading() -> None:
    graph = {module_name(path): set(house_imports(path, on_loading=True)) for path in MODULES}
    graph.pop("noseroom")  # hands out names on demand; nothing inside imports it
    assert all("noseroom" not in imported for imported in graph.values())
    assert list(TopologicalSorter(graph).static_order())


def loaded_by(code: str) -> set[str]:
    """Top-level packages in a fresh interpreter once `code` has run."""
    tail = "\nimport sys\nprint(*sorted({name.split('.')[0] for name in sys.modules}))"
    done = subprocess.run(
        [sys.executable, "-c", code + tail], capture_output=True, text=True, check=True
    )
    return set(done.stdout.split())


def test_importing_loads_neither_kernel_nor_mesh_library() -> None:
    found = loaded_by("import noseroom; noseroom.__version__; noseroom.Verdict; noseroom.Result")
    assert "noseroom" in found
    assert not found & {*KERNEL, *MESHES}


@pytest.mark.parametrize("demo", ["farm_pickup", "small_estate", "half_measured_coupe"])
def test_adjusting_loads_neither_kernel_nor_mesh_library(demo: str) -> None:
    path = PROJECT / "vehicle_envelopes" / f"{demo}.yaml"
    found = loaded_by(
        "from noseroom.envelope.reader import read\n"
        "from noseroom.layout import arrange\n"
        "from noseroom.parts.registry import KINDS\n"
        f"layout = arrange(read({str(path)!r}, KINDS))\n"
        "assert layout.parts and layout.survey.placements\n"
    )
    assert "numpy" in found
    assert not found & {*KERNEL, *MESHES}


def test_the_probe_for_loaded_libraries_sees_one() -> None:
    assert "trimesh" in loaded_by("import trimesh")


def written() -> Iterator[tuple[Path, str]]:
    """Every file that belongs to the project, as text. (Bytes of pictures read as Latin-1.)"""
    for top in sorted({*TOP_LEVEL, ".ci", ".gitignore"}):
        start = PROJECT / top
        for path in sorted(start.rglob("*")) if start.is_dir() else [start]:
            shown = path.relative_to(PROJECT)
            made = any(p == "__pycache__" or p.endswith(".egg-info") for p in shown.parts)
            made = made or (shown.parts[0] == "outputs" and path.name != "README.md")
            if path.is_file() and not made:
                yield shown, path.read_bytes().decode("latin-1")


# Spelt in halves, so that this file is not the one that has them.
_HOSTS = "|".join(
    ("py" + "pi", "python" + "hosted", "npm" + "js", "conda" + "-forge", "crates" + "[.]io")
)
UNWANTED = {
    "a forbidden word": re.compile(
        "|".join(("tran" + "script", "seed" + " document", "practi" + "tioner")), re.IGNORECASE
    ),
    "a path of one machine": re.compile(r"(?<![\w.:/})*])/(?:work|tmp|root|home|Users)/?(?![\w-])"),
    "a package registry": re.compile(rf"\b(?:{_HOSTS})\b[.]?(?:org|com)?", re.IGNORECASE),
}


@pytest.mark.parametrize("what", UNWANTED)
def test_nothing_unwanted_is_written_anywhere(what: str) -> None:
    found = [
        f"{path}: {hit[0]!r}" for path, text in written() for hit in UNWANTED[what].finditer(text)
    ]
    assert not found


@pytest.mark.parametrize(
    ("what", "text"),
    [
        ("a forbidden word", "the Tran" + "script says"),
        ("a path of one machine", "open('/" + "tmp/x')"),
        ("a package registry", "https://py" + "pi.org/simple"),
    ],
)
def test_the_search_finds_what_it_looks_for(what: str, text: str) -> None:
    assert UNWANTED[what].search(text)


def test_every_file_is_found_where_it_belongs() -> None:
    assert {path.parts[0] for path, _ in written()} >= TOP_LEVEL
    made = {"build", "dist"}
    seen = {one.name for one in PROJECT.iterdir() if not one.name.startswith(".")}
    assert seen - made <= TOP_LEVEL
    assert not (PROJECT / "packaging" / "__init__.py").exists()


@pytest.mark.parametrize("path", MODULES, ids=module_name)
def test_a_module_stays_short(path: Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) < 500


def undocumented(node: ast.AST, before: str) -> Iterator[str]:
    for one in ast.iter_child_nodes(node):
        if isinstance(one, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            if one.name.startswith("_"):
                continue
            overload = any("overload" in ast.unparse(mark) for mark in one.decorator_list)
            if not overload and not ast.get_docstring(one):
                yield f"{before}.{one.name}"
            if isinstance(one, ast.ClassDef):
                yield from undocumented(one, f"{before}.{one.name}")


@pytest.mark.parametrize("path", [m for m in MODULES if m.name[0] != "_"], ids=module_name)
def test_whatever_is_public_says_what_it_is(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    assert ast.get_docstring(tree)
    assert not list(undocumented(tree, module_name(path)))


def test_the_package_is_typed() -> None:
    assert resources.files("noseroom").joinpath("py.typed").is_file()


def test_one_version_everywhere() -> None:
    said = subprocess.run(
        [sys.executable, "-m", "noseroom.cli", "--version"],
        capture_output=True,
        text=True,
        check=True,
    )
    assert noseroom.__version__ == metadata.version("noseroom")
    assert said.stdout.split() == ["noseroom", noseroom.__version__]


def test_public_names_are_there() -> None:
    for name in noseroom.__all__:
        assert getattr(noseroom, name) is not None
    with pytest.raises(AttributeError, match="nothing_of_the_kind"):
        _ = noseroom.nothing_of_the_kind
