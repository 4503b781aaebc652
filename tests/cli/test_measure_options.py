"""Files that `measure` may be given besides photos, patch and debris."""

import json
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from typer.testing import CliRunner

from debriscount.inputs.lens_file import read_lens
from debriscount_cli.app import app

if TYPE_CHECKING:
    from tests.conftest import SceneOnDisk


@pytest.mark.slow
def test_a_lens_and_a_weighing_reach_the_record(scene: "SceneOnDisk", tmp_path: Path) -> None:
    height, width = scene.scene.pixels("before").shape[:2]
    lens, weighing = tmp_path / "lens.toml", tmp_path / "weighing.toml"
    focal = 0.75 * width
    lens.write_text(
        f'[lens]\nname = "bench"\nsize_px = [{width}, {height}]\nfocal_px = [{focal}, {focal}]\n'
        f"center_px = [{(width - 1) / 2}, {(height - 1) / 2}]\nk1 = -0.01\n",
        encoding="utf-8",
    )
    weighing.write_text(
        '[scale]\nkind = "kitchen"\n[dispensed]\nportion_g = 20.0\n[bin]\nemptied_g = 15.0\n', encoding="utf-8"
    )
    words = ["--patch", scene.patch, "--blank", scene.blank, "--debris", scene.debris[0], "--lens", lens]
    words += ["--weighing", weighing, "--out", tmp_path / "out", "--quiet", scene.before, scene.afters[0]]
    result = CliRunner().invoke(app, ["measure", *map(str, words)])
    assert result.exit_code == 0, result.stderr
    record = json.loads((tmp_path / "out" / "measurement.json").read_text(encoding="utf-8"))
    assert record["lens"]["name"] == read_lens(lens).name == "bench"
    assert record["lens"]["radial"][0] == -0.01
    assert record["agreement"]["scale_percent"] == pytest.approx(75.0)
    assert record["weighing"]["balance"]["bin_g"]["value"] == pytest.approx(15.0)
