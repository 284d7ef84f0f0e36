"""The rules of the house, held by tests: who imports whom, how long things are, what is documented."""

import ast
import re
import subprocess
import sys
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from statistics import median, quantiles

import pytest

ROOT = Path(__file__).parent.parent
PACKAGES = ("pose", "gait", "training")
FILES = sorted(path for package in PACKAGES for path in (ROOT / package).rglob("*.py"))
TEST_FILES = sorted((ROOT / "tests").rglob("*.py"))
NAMES = [str(path.relative_to(ROOT)) for path in FILES]

MOST_LINES_OF_A_FILE = 400
MOST_LINES_OF_A_FUNCTION = 60
P90_LINES_OF_A_FUNCTION = 28
MEDIAN_LINES_OF_A_FUNCTION = 10

#: Modules of gait that are edges (files, pictures, commands); everything else in gait is the pure core.
EDGES = ("gait.cli", "gait.clipwise", "gait.command", "gait.comparing", "gait.comparison_results",
         "gait.comparison_tables", "gait.demo", "gait.events_table", "gait.filming", "gait.hashing", "gait.instep_film",
         "gait.key_pictures", "gait.live", "gait.livewords", "gait.watch", "gait.overrulings_file", "gait.plugin",
         "gait.preview", "gait.reading", "gait.report", "gait.reuse", "gait.sheets", "gait.showing", "gait.tables",
         "gait.truth", "gait.wholeline", "gait.workbook", "gait.caseload", "gait.desk")  # fmt: skip
CORE_OUTSIDE = {"numpy", "scipy", "sklearn"}
CORE_POSE = {"pose.tracks", "pose.landmarks", "pose.errors"}

#: Libraries that one place alone may know, so that they can be exchanged.
ONLY_IN = {"av": {"pose.camera", "pose.container", "pose.film"}, "onnxruntime": {"pose.network", "training.export"},
           "ezc3d": {"pose.c3d"}, "gi": {"gait.plugin.element", "gait.plugin.meta"}}  # fmt: skip

Function = ast.FunctionDef | ast.AsyncFunctionDef


@cache
def tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


def module_name(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def imported(path: Path, *, late: bool = True) -> set[str]:
    """Full names of the modules that a file imports; ``late`` = also those imported inside functions."""
    parsed = tree(path)
    nodes = ast.walk(parsed) if late else iter(at_import(parsed))
    found: set[str] = set()
    for node in nodes:
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert not node.level, f"{path}: relative import in line {node.lineno}; use the full name"
            found.add(node.module or "")
    return found


def at_import(parsed: ast.AST) -> Iterator[ast.AST]:
    """Every node outside functions."""
    for node in ast.iter_child_nodes(parsed):
        if not isinstance(node, Function | ast.Lambda):
            yield node
            yield from at_import(node)


def is_edge(name: str) -> bool:
    return any(name == edge or name.startswith(f"{edge}.") for edge in EDGES)


def functions(path: Path) -> Iterator[Function]:
    return (node for node in ast.walk(tree(path)) if isinstance(node, Function))


def length(function: Function) -> int:
    """Lines from ``def`` to the end, docstring and decorators not counted."""
    lines = (function.end_lineno or function.lineno) - function.lineno + 1
    first = function.body[0]
    if ast.get_docstring(function, clean=False) is not None:
        lines -= (first.end_lineno or first.lineno) - first.lineno + 1
    return lines


@pytest.mark.parametrize("path", FILES, ids=NAMES)
def test_imports_go_one_way(path: Path) -> None:
    name, found = module_name(path), imported(path)
    tops = {module.split(".")[0] for module in found}
    if name.startswith("pose"):
        assert not tops & {"gait", "training"}
    if name.startswith("training"):
        assert "gait" not in tops
    if name.startswith("gait") and not is_edge(name):
        assert "training" not in tops
        assert not {module for module in found if is_edge(module)}
        assert {module for module in found if module.split(".")[0] == "pose"} <= CORE_POSE
        assert tops - set(sys.stdlib_module_names) - {"gait", "pose"} <= CORE_OUTSIDE
    for library, places in ONLY_IN.items():
        assert library not in tops or name in places, f"{library} belongs in {sorted(places)} alone"


@pytest.mark.parametrize("path", [path for path in FILES if module_name(path).split(".")[0] != "training"], ids=str)
def test_training_is_loaded_late_and_by_the_command_alone(path: Path) -> None:
    assert not {module for module in imported(path, late=False) if module.split(".")[0] in ("training", "torch")}
    if module_name(path) != "gait.cli":
        assert not {module for module in imported(path) if module.split(".")[0] in ("training", "torch")}


def test_imports_make_no_circle() -> None:
    graph = {module_name(path): imported(path, late=False) for path in FILES}
    done: set[str] = set()

    def visit(name: str, way: tuple[str, ...]) -> None:
        assert name not in way, f"circle: {' -> '.join((*way[way.index(name) :], name))}"
        if name not in done:
            for other in sorted(graph[name] & graph.keys()):
                visit(other, (*way, name))
            done.add(name)

    for name in graph:
        visit(name, ())


@pytest.mark.parametrize(
    "module", ["gait.cli", "gait.command.read", "gait.demo"], ids=["the command", "reading", "the demo"]
)
def test_the_base_installation_needs_no_torch(module: str) -> None:
    code = f"import sys, {module}; sys.exit(bool({{'torch', 'training', 'albumentations'}} & sys.modules.keys()))"
    assert subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=False).returncode == 0


@pytest.mark.parametrize("path", [*FILES, *TEST_FILES], ids=lambda path: str(path.relative_to(ROOT)))
def test_no_file_is_too_long(path: Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) <= MOST_LINES_OF_A_FILE


@pytest.mark.parametrize("path", FILES, ids=NAMES)
def test_no_function_is_too_long(path: Path) -> None:
    long = {function.name: length(function) for function in functions(path)}
    assert not {name: lines for name, lines in long.items() if lines > MOST_LINES_OF_A_FUNCTION}


@pytest.mark.parametrize("package", PACKAGES)
def test_functions_are_short_as_a_rule(package: str) -> None:
    files = [path for path in FILES if path.relative_to(ROOT).parts[0] == package]
    lengths = [length(function) for path in files for function in functions(path)]
    if len(lengths) < 10:
        pytest.skip("too few functions for a rule")
    assert median(lengths) <= MEDIAN_LINES_OF_A_FUNCTION
    assert quantiles(lengths, n=10, method="inclusive")[-1] <= P90_LINES_OF_A_FUNCTION


@pytest.mark.parametrize("path", FILES, ids=NAMES)
def test_only_the_command_speaks_to_the_terminal(path: Path) -> None:
    if module_name(path).startswith(("gait.cli", "gait.clipwise", "gait.command", "gait.demo")):
        return
    calls = [node.func for node in ast.walk(tree(path)) if isinstance(node, ast.Call)]
    assert not {call.id for call in calls if isinstance(call, ast.Name)} & {"print", "input", "exec", "eval"}
    assert not imported(path) & {"pickle", "marshal", "shelve"}


def public(parsed: ast.Module) -> Iterator[ast.AST]:
    """The module itself, its public functions and classes, and their public methods."""
    yield parsed
    for node in parsed.body:
        if isinstance(node, Function | ast.ClassDef) and not node.name.startswith("_"):
            yield node
            if isinstance(node, ast.ClassDef):
                yield from (part for part in node.body if isinstance(part, Function) and not part.name.startswith("_"))


@pytest.mark.parametrize("path", FILES, ids=NAMES)
def test_everything_public_says_what_it_is(path: Path) -> None:
    bare = [getattr(node, "name", "the module") for node in public(tree(path)) if not ast.get_docstring(node)]
    assert not bare


@pytest.mark.parametrize("path", FILES, ids=NAMES)
def test_type_hints_are_complete(path: Path) -> None:
    for function in functions(path):
        arguments = [*function.args.posonlyargs, *function.args.args, *function.args.kwonlyargs]
        bare = [item.arg for item in arguments if item.annotation is None and item.arg not in ("self", "cls")]
        assert not bare, f"{function.name}: {bare}"
        assert function.returns is not None, f"{function.name} does not say what it returns"


#: Addresses outside the project that would tie the code to one machine.
FOREIGN_PATHS = re.compile(r"(?<![\w.])/(?:home|root|work|Users|tmp)/|\.\./shared|[A-Z]:\\\\")


@pytest.mark.parametrize("path", FILES, ids=NAMES)
def test_no_path_of_one_machine(path: Path) -> None:
    assert not FOREIGN_PATHS.findall(path.read_text(encoding="utf-8"))


def test_the_word_for_each_rule_can_fail() -> None:
    """The measuring tools of this file, on code that breaks the rules."""
    function = ast.parse('def f():\n    """One.\n    Two."""\n    a = 1\n    return a').body[0]
    assert isinstance(function, Function)
    assert length(function) == 3
    parsed = ast.parse("import a\ndef f():\n    import b\nclass C:\n    import c\n")
    early = [node for node in at_import(parsed) if isinstance(node, ast.Import)]
    assert {alias.name for node in early for alias in node.names} == {"a", "c"}
    assert is_edge("gait.report.page")
    assert not is_edge("gait.reporting")
    assert FOREIGN_PATHS.search('open("/home/someone/film.mp4")')
    assert not FOREIGN_PATHS.search("px/s, m/s, see docs/home/page")
