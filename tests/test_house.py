"""The house rules that a machine can see; see DEVELOPERS.md, "The house"."""

from __future__ import annotations

import ast
import fnmatch
import re
import subprocess
import sys
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

import geom

ROOT = Path(__file__).resolve().parent.parent

#: One floor a line; a file imports from its own floor and those before it.
ROAD = (
    ("_version", "schemas"),
    ("errors", "units", "frame", "quantity", "shown"),
    ("atomic", "parallel", "cluster", "cf", "document"),
    ("stats",),
    ("design",),
    ("readings",),
    ("datum",),
    ("surface",),
    ("compare",),
    ("sampling",),
    ("repair",),
    ("record",),
    ("views",),
    ("desk",),
    ("cli",),
    ("__main__",),
)
FLOOR = {room: floor for floor, rooms in enumerate(ROAD) for room in rooms}
FACE = "__init__"

HEAVY = (
    "dask", "distributed", "jinja2", "laspy", "matplotlib", "numba", "numpy",
    "openpyxl", "pandas", "polars", "pyvista", "reportlab", "rich", "scipy", "shapely",
    "starlette", "trimesh", "uvicorn", "vtk", "xarray",
)  # fmt: skip

TOP = {"README.md", "DEVELOPERS.md", "pyproject.toml", "geom", "scripts", "tests"}
TOP |= {"scans", "docs"}

LONGEST = 550


# --- imports run one way -------------------------------------------------------------


parsed = cache(ast.parse)


def imported(tree: ast.AST, package: tuple[str, ...]) -> Iterator[tuple[int, str]]:
    """Line and full name of everything a module imports, relative names resolved."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from ((node.lineno, alias.name) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = package[: len(package) + 1 - node.level] if node.level else ()
            start = ".".join([*base, *([node.module] if node.module else [])])
            yield from ((node.lineno, f"{start}.{alias.name}") for alias in node.names)


def steps_back(package: Path) -> list[str]:
    """Imports under a folder ``geom`` that run against the road."""
    wrong = []
    for file in sorted(package.rglob("*.py")):
        parts = file.relative_to(package).with_suffix("").parts
        room = parts[0]
        if room == FACE:
            continue
        inside = ("geom", *parts[:-1])
        for line, name in imported(parsed(file.read_text("utf-8")), inside):
            if name.split(".")[0] != "geom":
                continue
            target = [*name.split("."), FACE][1]
            # The face gathers all rooms: only the front door may come in through it.
            floor = FLOOR.get(target, FLOOR["cli"])
            if room not in FLOOR or floor > FLOOR[room]:
                wrong.append(f"{'/'.join(parts)}:{line} imports {name}")
    return wrong


def test_imports_run_one_way():
    assert steps_back(ROOT / "geom") == []


#: Floors where words for people are made.
WORDED = {"views", "desk", "cli"}


def worded_below(package: Path) -> list[str]:
    """Lengths put in words under a folder ``geom`` below the floors for that."""
    return [
        f"{file.relative_to(package)}:{line} imports {name}"
        for file in sorted(package.rglob("*.py"))
        if file.relative_to(package).parts[0] not in WORDED
        for line, name in imported(parsed(file.read_text("utf-8")), ("geom",))
        if name.rpartition(".")[2] in {"say_both", "say_length", "upfirst"}
    ]


def test_lengths_are_put_in_words_only_where_people_read_them():
    assert worded_below(ROOT / "geom") == []


def test_a_length_in_words_below_is_seen(tmp_path):
    (tmp_path / "surface").mkdir()
    file = tmp_path / "surface" / "fit.py"
    file.write_text("from geom.units import Float, say_both\n")
    assert worded_below(tmp_path) == ["surface/fit.py:1 imports geom.units.say_both"]


def test_every_room_has_its_place_on_the_road():
    rooms = {p.stem for p in (ROOT / "geom").iterdir() if p.suffix in ("", ".py")}
    assert rooms - {FACE, "__pycache__"} <= set(FLOOR)


@pytest.mark.parametrize(
    "spoiled",
    [
        "from geom.surface import reconstruct",
        "import geom.views.charts.survey_maps",
        "from geom import compare",
        "from geom import assess",
        "import geom",
        "from ..repair.daub import plan",
        "def late():\n    from geom.cli import main",
        "if TYPE_CHECKING:\n    from geom.surface.gp.posterior import GPPosterior",
    ],
)
def test_a_step_back_is_seen(tmp_path, spoiled):
    room = tmp_path / "geom" / "design"
    room.mkdir(parents=True)
    (room / "sound.py").write_text(
        "import numpy\nfrom geom.units import Float\nfrom .profile import Profile\n"
        "from .. import errors\nfrom ..frame import wrap\nfrom geom import units\n"
    )
    assert steps_back(tmp_path / "geom") == []
    (room / "spoiled.py").write_text(spoiled + "\n")
    assert len(steps_back(tmp_path / "geom")) == 1


def test_basics_use_no_room_and_the_front_door_may_use_the_face(tmp_path):
    package = tmp_path / "geom"
    (package / "cli").mkdir(parents=True)
    (package / "cli" / "survey.py").write_text("import geom\nfrom geom import assess\n")
    assert steps_back(package) == []
    (package / "errors.py").write_text("from geom.design import Design\n")
    assert steps_back(package) == ["errors:1 imports geom.design.Design"]


# --- the face ------------------------------------------------------------------------


def loaded_by(statement: str) -> set[str]:
    """Top-level modules in a fresh interpreter after a statement."""
    done = subprocess.run(
        [sys.executable, "-c", f"{statement}\nimport sys\nprint(*sys.modules)"],
        capture_output=True,
        text=True,
        check=True,
        cwd=ROOT,
    )
    return {name.split(".")[0] for name in done.stdout.split()}


def test_importing_the_package_loads_nothing_heavy():
    assert loaded_by("import geom") & set(HEAVY) == set()


def test_a_heavy_import_would_be_seen():
    assert loaded_by("import openpyxl") & set(HEAVY) >= {"openpyxl"}


def test_help_loads_nothing_heavy():
    asked = "from geom.cli.main import parser\nparser().format_help()"
    assert loaded_by(asked) & set(HEAVY) == set()


def stub_names(stub: str) -> set[str]:
    """Names that a stub of the face gives."""
    nodes = ast.walk(ast.parse(stub))
    froms = (node for node in nodes if isinstance(node, ast.ImportFrom))
    return {alias.asname or alias.name for node in froms for alias in node.names}


def test_the_face_gives_what_its_stub_names():
    named = stub_names((ROOT / "geom" / "__init__.pyi").read_text("utf-8"))
    assert set(geom.__all__) == named
    assert named <= set(dir(geom))
    for name in sorted(named):
        assert getattr(geom, name) is not None


def test_pinned_names_are_on_the_face():
    pinned = {"load_design", "load_readings", "reconstruct", "assess"}
    pinned |= {"RadialSurface", "Findings", "InputError"}
    assert pinned <= set(geom.__all__)


# --- the shape of the house ----------------------------------------------------------


def modules(package: Path) -> dict[str, Path]:
    """Full name of every module and package under a folder, and its file."""
    found = {}
    for file in package.rglob("*.py"):
        parts = [package.name, *file.relative_to(package).with_suffix("").parts]
        found[".".join(parts[:-1] if parts[-1] == FACE else parts)] = file
    return found


def import_graph(package: Path) -> dict[str, set[str]]:
    """What each module imports of its own package: anywhere in it, for types too."""
    every = modules(package)
    graph = {}
    for name, file in every.items():
        inside = name if file.stem == FACE else name.rpartition(".")[0]
        tree = parsed(file.read_text("utf-8"))
        wanted = {full for _, full in imported(tree, tuple(inside.split(".")))}
        nearest = {
            full if full in every else full.rpartition(".")[0] for full in wanted
        }
        graph[name] = {one for one in nearest if one in every and one != name}
    return graph


def circles(graph: dict[str, set[str]]) -> list[list[str]]:
    """Groups of modules that import each other, directly or by way of others."""
    from graphlib import CycleError, TopologicalSorter

    try:
        TopologicalSorter(graph).prepare()
    except CycleError as circle:
        return [circle.args[1]]
    return []


def test_no_module_imports_in_a_circle():
    assert circles(import_graph(ROOT / "geom")) == []


def test_a_circle_is_seen_through_types_and_functions(tmp_path):
    package = tmp_path / "geom"
    package.mkdir()
    (package / "a.py").write_text("def late():\n    from geom.b import two\n")
    (package / "b.py").write_text("if TYPE_CHECKING:\n    from geom import a\n")
    assert len(circles(import_graph(package))) == 1
    (package / "b.py").write_text("import numpy\n")
    assert circles(import_graph(package)) == []


MOST_IN_A_FOLDER = 14


def test_no_folder_holds_more_modules_than_one_can_look_over():
    count: dict[str, int] = {}
    for name, file in modules(ROOT / "geom").items():
        if file.stem != FACE:
            room = name.rpartition(".")[0]
            count[room] = count.get(room, 0) + 1
    assert {room: n for room, n in count.items() if n > MOST_IN_A_FOLDER} == {}
    assert len(count) > 20


def public_classes(package: Path) -> dict[str, list[str]]:
    """Modules that define a public class, by its name."""
    found: dict[str, list[str]] = {}
    for name, file in modules(package).items():
        for node in parsed(file.read_text("utf-8")).body:
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                found.setdefault(node.name, []).append(name)
    return found


def test_no_two_public_classes_share_a_name():
    owners = public_classes(ROOT / "geom")
    assert {name: rooms for name, rooms in owners.items() if len(rooms) > 1} == {}
    assert len(owners) > 100


def unused(package: Path, face: str) -> set[str]:
    """Functions, classes and methods that nothing in the package names but themselves.

    What the face gives is used; so is what a template names.
    """
    defined: dict[str, int] = {}
    named: dict[str, int] = {}
    for file in package.rglob("*"):
        if file.suffix in (".jinja", ".html", ".js"):
            for word in re.findall(r"\w+", file.read_text("utf-8")):
                named[word] = named.get(word, 0) + 1
        if file.suffix != ".py":
            continue
        for node in ast.walk(parsed(file.read_text("utf-8"))):
            if isinstance(node, ast.FunctionDef | ast.ClassDef):
                if not (node.name.startswith("__") or overrides(node)):
                    defined[node.name] = defined.get(node.name, 0) + 1
            elif isinstance(node, ast.Name):
                named[node.id] = named.get(node.id, 0) + 1
            elif isinstance(node, ast.Attribute):
                named[node.attr] = named.get(node.attr, 0) + 1
            elif isinstance(node, ast.Constant) and isinstance(node.value, str):
                # a name held as text: an attribute looked up, a quoted annotation
                for word in re.findall(r"\w+", node.value):
                    if len(node.value) < 80:
                        named[word] = named.get(word, 0) + 1
    public = stub_names(face)
    return (
        {name for name in defined if name not in named}
        - public
        - members(package, public)
    )


def members(package: Path, public: set[str]) -> set[str]:
    """Methods and properties of the classes that the face gives."""
    found: set[str] = set()
    for file in package.rglob("*.py"):
        for node in parsed(file.read_text("utf-8")).body:
            if isinstance(node, ast.ClassDef) and node.name in public:
                found |= {n.name for n in node.body if isinstance(n, ast.FunctionDef)}
    return found


def overrides(node: ast.AST) -> bool:
    """Whether a library calls it by its name: a handler or an overridden method."""
    decorators = getattr(node, "decorator_list", [])
    return any("override" in ast.dump(one) for one in decorators)


#: Called by scripts/own_venv.py when it sets up, by the face, and by notebooks.
CALLED_FROM_OUTSIDE = {"compile_all", "shown_by", "_repr_html_"}


#: Dataclasses that change: what a window shows, under the hands of a person.
CHANGING = {"views/window.py": 1}


def test_results_do_not_change():
    """A dataclass is frozen, but where it is what a person moves."""
    loose = {}
    for path in sorted((ROOT / "geom").rglob("*.py")):
        text = path.read_text("utf-8")
        count = text.count("@dataclass") - text.count("@dataclass(frozen=True")
        if count:
            loose[path.relative_to(ROOT / "geom").as_posix()] = count
    assert loose == CHANGING


def test_nothing_is_there_for_tests_alone():
    face = (ROOT / "geom" / "__init__.pyi").read_text("utf-8")
    assert unused(ROOT / "geom", face) - CALLED_FROM_OUTSIDE == set()


def test_what_is_never_used_is_seen(tmp_path):
    package = tmp_path / "geom"
    package.mkdir()
    (package / "a.py").write_text("def lost():\n    pass\n\n\ndef kept():\n    pass\n")
    (package / "b.py").write_text("from geom.a import kept\nkept()\n")
    assert unused(package, "") == {"lost"}
    assert unused(package, "from .a import lost as lost") == set()


#: What a statistician, a surveyor or a mason would look for by this name.
CONCEPTS = [
    "likelihood", "posterior", "prior", "hyperparameters", "outlier", "kernel",
    "lengthscaleheight", "covariance", "amplitude", "noise", "observation",
    "conditional", "component", "register", "pose", "datum", "levelofdetection",
    "significanttogether", "changepoint", "shrinkage", "variancecomponents",
    "firstpassage", "trajectories", "contrast", "robust", "lines", "harmonics",
    "ovality", "roundness", "permutationpvalue", "segmentation", "course", "bond",
    "partition", "joint", "brick", "ring", "daub", "chipping", "taper",
    "conformity", "tolerance", "interpolate", "extent", "level", "zone", "volume",
    "budget", "grid", "profile", "histogram", "binning", "calibration", "student",
    "interval", "drawing", "campaign", "forecast", "rate", "systematic", "excess",
    "partialmoments", "mesh", "colourbar", "legend", "atomic", "parallel",
    "sampling", "moverdifference", "spalling", "excessvariance", "fourier",
    "diagnosis", "plausibility",
]  # fmt: skip


def test_textbook_concepts_are_found_by_their_names():
    names: set[str] = set()
    for name, file in modules(ROOT / "geom").items():
        names.add(name.replace("_", "").lower())
        for node in ast.walk(parsed(file.read_text("utf-8"))):
            if isinstance(node, ast.ClassDef | ast.FunctionDef):
                names.add(node.name.replace("_", "").lower())
            elif isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name):
                names.add(node.target.id.replace("_", "").lower())
    missing = [c for c in CONCEPTS if not any(c in name for name in names)]
    assert len(CONCEPTS) >= 50
    assert missing == []


# --- what lies where -----------------------------------------------------------------


def passes_over(name: str, *, is_folder: bool, at_top: bool, rules: list[str]) -> bool:
    """Whether a .gitignore of plain one-part rules passes over a file or folder."""
    for rule in rules:
        if rule.endswith("/") and not is_folder:
            continue
        if rule.startswith("/") and not at_top:
            continue
        if fnmatch.fnmatchcase(name, rule.strip("/")):
            return True
    return False


def own_files(folder: Path, rules: list[str], *, at_top: bool = True) -> Iterator[Path]:
    """Files that belong to the project, whether or not git is there to be asked."""
    for path in sorted(folder.iterdir()):
        deep = path.is_dir() and not path.is_symlink()
        over = passes_over(path.name, is_folder=deep, at_top=at_top, rules=rules)
        if over or path.name == ".git":
            continue
        if deep:
            yield from own_files(path, rules, at_top=False)
        else:
            yield path


@pytest.fixture(scope="module")
def files() -> list[Path]:
    lines = (ROOT / ".gitignore").read_text("utf-8").split("\n")
    rules = [line.strip() for line in lines if line.strip() and line[0] != "#"]
    assert not any(mark in rule for rule in rules for mark in ("!", "**"))
    assert not any("/" in rule.strip("/") for rule in rules)
    return list(own_files(ROOT, rules))


def test_own_files_are_told_from_made_ones(tmp_path):
    for name in ("a.py", "out-demo/map.png", "geom/out-x/b.py", "geom/x.pyc"):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).touch()
    found = own_files(tmp_path, ["/out*/", "*.pyc"])
    assert [f.relative_to(tmp_path).as_posix() for f in found] == [
        "a.py",
        "geom/out-x/b.py",
    ]


def test_top_level_holds_only_what_the_layout_allows(files):
    tops = {file.relative_to(ROOT).parts[0] for file in files}
    assert {top for top in tops if not top.startswith(".")} <= TOP
    assert {"geom", "scripts", "tests", "pyproject.toml"} <= tops


def test_no_module_is_too_long(files):
    length = {
        file.relative_to(ROOT).as_posix(): file.read_text("utf-8").count("\n")
        for file in files
        if file.suffix == ".py" and file.is_relative_to(ROOT / "geom")
    }
    assert len(length) > 10
    assert {name: n for name, n in length.items() if n > LONGEST} == {}


# --- words that do not belong here ---------------------------------------------------

# In pieces, so that this file does not hold what it looks for.
FORBIDDEN = re.compile(
    "|".join(
        "".join(pieces)
        for pieces in (
            ("seed ", "document"),
            ("trans", "cript"),
            (r"(?<![\w.<])/", "(work|farm|tmp|root|opt)/"),
            (r"(?<![\w.<])/", r"(home|Users)/\w"),
            (r"[A-Z]:", r"\\Users"),
            (r"\bC", r"EO\b"),
            ("py", r"pi\.org"),
            ("python", "hosted"),
        )
    )
)
UNFINISHED = re.compile(
    "|".join(
        "".join(pieces)
        for pieces in (
            ("TO", "DO"),
            ("FIX", "ME"),
            ("x", r"fail\("),
            (r"\.sk", r"ip\("),
            ("sk", "ipif"),
            ("importor", "skip"),
        )
    )
)


def lines_with(pattern: re.Pattern[str], files: list[Path]) -> list[str]:
    """Where a pattern is in text files: ``file:line``."""
    found = []
    for file in files:
        content = file.read_bytes()
        if b"\0" in content:
            continue
        for number, line in enumerate(content.decode("utf-8").split("\n"), 1):
            if pattern.search(line):
                found.append(f"{file}:{number}")
    return found


def test_no_file_names_a_machine_or_what_is_not_the_projects(files):
    assert lines_with(FORBIDDEN, files) == []


def test_nothing_is_left_unfinished(files):
    rooms = (ROOT / "geom", ROOT / "tests")
    code = [f for f in files if f.suffix == ".py"]
    code = [f for f in code if any(f.is_relative_to(room) for room in rooms)]
    assert lines_with(UNFINISHED, code) == []


@pytest.mark.parametrize(
    "line",
    [
        "open('" + "/" + "tmp/x.csv')",
        "see the seed " + "document",
        "/" + "home/somebody/checkout",
        "index = https://py" + "pi.org/simple",
    ],
)
def test_a_forbidden_line_is_seen(tmp_path, line):
    (tmp_path / "sound.md").write_text("templates, https://example.org/home/page\n")
    (tmp_path / "spoiled.md").write_text("fine\n" + line + "\n")
    both = [tmp_path / "sound.md", tmp_path / "spoiled.md"]
    assert lines_with(FORBIDDEN, both) == [f"{both[1]}:2"]
    assert FORBIDDEN.search("TO" + "DO") is None
    assert UNFINISHED.search("# TO" + "DO: later")


# --- scripts -------------------------------------------------------------------------


def test_the_two_commands_are_readable_by_a_python_that_is_too_old():
    for name in ("own_venv", "demo", "test", "check", "docs"):
        source = (ROOT / "scripts" / f"{name}.py").read_text("utf-8")
        ast.parse(source, feature_version=(3, 6))
        assert "annotations" not in source  # that import is unknown to 3.6
