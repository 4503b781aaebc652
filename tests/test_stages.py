"""Data go one way: no stage imports a later one."""

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
STAGES = (
    "inputs",
    "layout",
    "photo",
    "markers",
    "camera",
    "registration",
    "mosaic",
    "cover",
    "grains",
    "shot_check",
    "pickup",
    "leftovers",
    "scale",
    "plausibility",
    "run",
    "film",
    "portions",
    "simulate",
    "campaign",
    "compare",
    "plan",
    "report",
    "page",
    "stills",
    "verify",
    "demo",
    "manual",
    "cli",
)
#: Beside the stages: they import no stage, and every stage may import them.
BESIDE = (
    "arrays",
    "at_once",
    "cluster",
    "columns",
    "errors",
    "flags",
    "made_with",
    "memory",
    "opencv",
    "printable",
    "safety",
    "serialize",
    "shipped",
    "stats",
)
FILES = [*sorted((ROOT / "debriscount").rglob("*.py")), *sorted((ROOT / "cli").rglob("*.py"))]
FILES.remove(ROOT / "debriscount" / "__init__.py")  # names what every stage has to offer, and loads it when asked


def module_name(file: Path) -> str:
    parts = list(file.relative_to(ROOT).with_suffix("").parts)
    if parts[-1] == "__init__":
        parts.pop()
    return ".".join(parts)


def imported(file: Path) -> set[str]:
    """Return full names of the modules of this project that a file imports, wherever in it."""
    package = module_name(file).split(".")
    if file.name != "__init__.py":
        package.pop()
    names = set()
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            base = package[: len(package) - node.level + 1] if node.level else []
            module = ".".join([*base, *([node.module] if node.module else [])])
            names |= {f"{module}.{alias.name}" for alias in node.names}
    return {name for name in names if name.split(".")[0] in ("debriscount", "cli", "debriscount_cli")}


def stage(name: str) -> str:
    parts = name.split(".")
    if parts[0] in ("cli", "debriscount_cli"):
        return "cli"
    # The root's own names stand for the last stage that they come from.
    return {"measure": "run", "__version__": "errors"}.get(parts[1], parts[1]) if len(parts) > 1 else "errors"


def wrong_imports(file: Path) -> set[str]:
    """Return what a file imports from stages that come after its own."""
    own = stage(module_name(file))
    assert own in (*STAGES, *BESIDE), f"{own} has no place among the stages"
    allowed = {*BESIDE, *(STAGES[: STAGES.index(own) + 1] if own in STAGES else ())}
    return {name for name in imported(file) if stage(name) not in allowed}


def test_no_stage_imports_a_later_one() -> None:
    assert len(FILES) > 100
    wrong = {module_name(file): names for file in FILES if (names := wrong_imports(file))}
    assert not wrong


def test_an_import_of_a_later_stage_would_be_seen(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = tmp_path / "debriscount" / "photo" / "read.py"
    file.parent.mkdir(parents=True)
    file.write_text("from ..errors import X\ndef f():\n    from ..grains import find\n")
    monkeypatch.setitem(globals(), "ROOT", tmp_path)
    assert imported(file) == {"debriscount.errors.X", "debriscount.grains.find"}
    assert wrong_imports(file) == {"debriscount.grains.find"}
