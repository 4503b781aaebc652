from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from debriscount.compare.selected import Choice
from debriscount.compare.summary import summarise
from debriscount.errors import OutputError
from debriscount.report.palette import OKABE_ITO
from debriscount.report.runs_plot import write_plot

from ..compare.conftest import filed_run, named

RUNS = named(
    [filed_run(i, 80.0 + i, machine="A") for i in range(1, 5)]
    + [filed_run(5, 70.0, machine="B", trust="doubtful"), filed_run(6, 99.9, at_least=99.0, machine="B")]
)


def test_every_run_is_a_dot(tmp_path: Path) -> None:
    """By colour: five runs are blue, one of them at the ceiling, and two dots of the legend; a doubtful one is hollow."""
    from scipy.ndimage import label

    spread = named([filed_run(i, 50.0 + 9 * i, machine="A") for i in range(1, 5)] + [run.run for run in RUNS[4:]])
    write_plot(summarise(spread, ["machine"]), Choice(), tmp_path / "runs.png")
    pixels = np.asarray(Image.open(tmp_path / "runs.png").convert("RGB"), int)
    blue = np.abs(pixels - OKABE_ITO[4]).max(axis=2) < 12
    _, dots = label(blue, np.ones((3, 3)))
    assert dots == 5 + 2
    assert (np.abs(pixels - OKABE_ITO[0]).max(axis=2) < 12).any()


def test_the_same_runs_make_the_same_bytes(tmp_path: Path) -> None:
    summary = summarise(RUNS, ["machine"])
    for name in ("a.svg", "b.svg"):
        write_plot(summary, Choice(), tmp_path / name)
    assert (tmp_path / "a.svg").read_bytes() == (tmp_path / "b.svg").read_bytes()


def test_another_ending_and_too_many_groups(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match=r"must end in \.png or \.svg"):
        write_plot(summarise(RUNS), Choice(), tmp_path / "runs.gif")
    many = named([filed_run(i, machine=f"m{i}") for i in range(1, 80)])
    with pytest.raises(OutputError, match="79 groups are too many"):
        write_plot(summarise(many, ["machine"]), Choice(), tmp_path / "runs.png")
