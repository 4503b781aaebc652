"""What is installed is what the source tree has: a subpackage that is not listed works here and is missing there."""

import re
import shutil
import subprocess
import sys
import tomllib
import zipfile
from importlib.util import find_spec
from pathlib import Path

import pytest

import debriscount

ROOT = Path(__file__).parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
FOLDERS = {
    "debriscount_cli": "cli",
    "debriscount._calibration": "calibration",
    "debriscount._reference": "reference_images",
}


def test_every_subpackage_is_listed() -> None:
    found = {
        ".".join(file.parent.relative_to(ROOT).parts) for file in (ROOT / "debriscount").rglob("__init__.py")
    } | set(FOLDERS)
    assert set(PROJECT["tool"]["setuptools"]["packages"]) == found


def test_mapped_folders_are_packages() -> None:
    assert PROJECT["tool"]["setuptools"]["package-dir"] == FOLDERS
    for folder in FOLDERS.values():
        assert (ROOT / folder / "__init__.py").is_file()


def test_every_folder_of_the_library_is_a_package() -> None:
    folders = {file.parent for file in (ROOT / "debriscount").rglob("*.py")}
    assert not [folder for folder in folders if not (folder / "__init__.py").is_file()]


def test_tests_are_no_packages() -> None:
    assert not list((ROOT / "tests").rglob("__init__.py"))


def test_the_public_names_are_there() -> None:
    for name in debriscount.__all__:
        assert getattr(debriscount, name) is not None
    assert set(debriscount.__all__) <= set(dir(debriscount))
    with pytest.raises(AttributeError, match="module 'debriscount' has no attribute 'nothing'"):
        debriscount.nothing  # type: ignore[attr-defined] # noqa: B018


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> zipfile.ZipFile:
    pytest.importorskip("setuptools", minversion="77", reason="builds with the setuptools of the extra 'dev'")
    pytest.importorskip("build.env")
    out = tmp_path_factory.mktemp("wheel")
    source = out / "source"  # a copy, since setuptools would put what an earlier build left into the wheel
    for name in ("debriscount", *FOLDERS.values()):
        shutil.copytree(ROOT / name, source / name, ignore=shutil.ignore_patterns("__pycache__"))
    for name in ("pyproject.toml", "README.md"):
        shutil.copyfile(ROOT / name, source / name)
    subprocess.run(
        [sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", str(out), str(source)],
        check=True,
        capture_output=True,
        text=True,
    )
    return zipfile.ZipFile(next(out.glob("*.whl")))


@pytest.mark.slow
def test_the_wheel_holds_every_module_and_data_file(wheel: zipfile.ZipFile) -> None:
    names = set(wheel.namelist())
    expected = {
        f"debriscount/{file.relative_to(ROOT / 'debriscount')}" for file in (ROOT / "debriscount").rglob("*.py")
    }
    expected |= {"debriscount/py.typed", "debriscount/LICENSE"}
    expected |= {f"debriscount/manual/{file.name}" for file in (ROOT / "debriscount" / "manual").glob("*.md")}
    for package, folder in FOLDERS.items():
        home = package.replace(".", "/")
        files = [file for file in (ROOT / folder).rglob("*") if file.is_file() and "__pycache__" not in file.parts]
        expected |= {f"{home}/{file.relative_to(ROOT / folder).as_posix()}" for file in files}
    assert not expected - names
    assert not [name for name in names if name.startswith(("cli/", "tests/", "reference_images/", "calibration/"))]


@pytest.mark.slow
def test_the_installed_wheel_works_away_from_the_source_tree(wheel: zipfile.ZipFile, tmp_path: Path) -> None:
    home = tmp_path / "site"
    wheel.extractall(home)
    code = (
        "import debriscount, debriscount_cli.app, importlib.util\n"
        "from debriscount.shipped import shipped_folder\n"
        "print(debriscount.__file__)\n"
        "print(shipped_folder('debriscount._reference', 'reference_images'))\n"
        "print(importlib.util.find_spec('cli'))\n"
    )
    done = subprocess.run(
        [sys.executable, "-I", "-c", f"import sys; sys.path.insert(0, {str(home)!r})\n{code}"],
        check=True, capture_output=True, text=True, cwd=tmp_path,
    )  # fmt: skip
    lines = done.stdout.splitlines()
    assert Path(lines[0]) == home / "debriscount" / "__init__.py"
    assert Path(lines[1]) == home / "debriscount" / "_reference"
    assert lines[2] == "None"


@pytest.mark.slow
def test_the_wheel_carries_its_licence(wheel: zipfile.ZipFile) -> None:
    (name,) = (name for name in wheel.namelist() if name.endswith(".dist-info/METADATA"))
    assert "License-Expression: MIT\n" in wheel.read(name).decode()
    text = (ROOT / "debriscount" / "LICENSE").read_bytes()
    assert wheel.read(name.replace("METADATA", "licenses/debriscount/LICENSE")) == text
    assert b"Copyright (c) 2026 the debriscount authors" in text


def test_every_dependency_is_listed_with_its_licence() -> None:
    project = PROJECT["project"]
    extras = project["optional-dependencies"]
    wanted = [*project["dependencies"], *extras["raw"], *extras["cluster"], *extras["dev"]]
    table = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").split("## Dependencies")[1]
    rows = [line.strip("| ").split(" | ") for line in table.splitlines() if line.startswith("| ")][2:]
    by_npm = {"axe-core"}  # `.ci/run` gets it
    assert {re.split("[><=]", name)[0] for name in wanted} | by_npm == {row[0].split(" (")[0] for row in rows}
    assert all(len(row) == 3 and row[2].strip() for row in rows)


def test_the_version_is_written_once() -> None:
    assert PROJECT["project"]["dynamic"] == ["version"]
    assert "version" not in PROJECT["project"]


def test_the_command_line_is_installed_under_its_own_name() -> None:
    assert PROJECT["project"]["scripts"] == {"debriscount": "debriscount_cli.start:main"}
    assert find_spec("debriscount_cli") is not None
    assert "cli" not in sys.modules
