"""The examples in the docstrings of all public functions run as they stand, in the folder of the demo's first run."""

import doctest
import inspect
from pathlib import Path

import pytest

import debriscount
from debriscount.demo import copy_scenes

FUNCTIONS = [name for name in debriscount.__all__ if inspect.isfunction(getattr(debriscount, name))]
SLOW = ("count", "measure")


def test_all_public_functions_are_tried() -> None:
    assert {"count", "measure", "read_debris", "read_lens", "read_patch"} <= set(FUNCTIONS)


@pytest.mark.parametrize(
    "name", [pytest.param(name, marks=[pytest.mark.slow] if name in SLOW else []) for name in FUNCTIONS]
)
def test_the_examples_run(name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (folder,) = copy_scenes(tmp_path)
    monkeypatch.chdir(folder)
    function = getattr(debriscount, name)
    (examples,) = doctest.DocTestFinder(recurse=False).find(function, name, globs={name: function})
    assert examples.examples
    assert doctest.DocTestRunner().run(examples).failed == 0
