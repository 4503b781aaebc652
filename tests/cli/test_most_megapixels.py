"""``--most-megapixels`` of measure and count."""

from pathlib import Path

import pytest
from typer.testing import CliRunner

from debriscount.shipped import shipped_folder
from debriscount_cli.app import app

RUNNER = CliRunner()
SCENE = shipped_folder("debriscount._reference", "reference_images") / "lentils-oak-corner"


@pytest.mark.parametrize(
    ("limit", "message"),
    [
        ("0.5", "px, more than 0.5 megapixels. Give the photo as the camera made it, or raise the limit (--most-meg"),
        ("0", "before.jpg: cannot be read: most megapixels must be a number above 0, got 0."),
        ("nan", "before.jpg: cannot be read: most megapixels must be a number above 0, got nan."),
    ],
)
@pytest.mark.parametrize("command", ["measure", "count"])
def test_photos_beyond_the_limit_are_one_line_and_exit_code_2(
    tmp_path: Path, command: str, limit: str, message: str
) -> None:
    rest = ["--out", str(tmp_path / "out"), str(SCENE / "after.jpg")] if command == "measure" else []
    result = RUNNER.invoke(
        app,
        [command, "--patch", str(SCENE / "patch.toml"), "--most-megapixels", limit, str(SCENE / "before.jpg"), *rest],
    )
    assert (result.exit_code, result.stdout) == (2, "")
    assert message in result.stderr
    assert result.stderr.count("\n") == 1


@pytest.mark.parametrize("command", ["measure", "count"])
def test_help_names_the_option_and_its_default(command: str) -> None:
    help_text = RUNNER.invoke(app, [command, "--help"]).stdout
    assert "--most-megapixels" in help_text
    assert "120" in help_text
