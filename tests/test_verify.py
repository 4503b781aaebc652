import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from debriscount.errors import InputFileError
from debriscount.page.private import Shown
from debriscount.page.sources import read_sources
from debriscount.page.write import write_page
from debriscount.report.write import write_measurement
from debriscount.run.measure import measure
from debriscount.verify import verify
from debriscount_cli.app import app

from .conftest import SceneOnDisk

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def bench(scene: SceneOnDisk, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Folder with photos under a phone's names, and their result."""
    home = tmp_path_factory.mktemp("verify")
    photos: dict[str, Path] = {}
    for name, path in {"blank": scene.blank, "before": scene.before, "after": scene.afters[0]}.items():
        photos[name] = home / f"IMG_20261123_14153{len(photos)}.jpg"
        shutil.copyfile(path, photos[name])
    found = measure(scene.patch, photos["before"], photos["after"], blank=photos["blank"], debris=scene.debris)
    write_measurement(found, home / "result")
    return home


@pytest.fixture
def changed(bench: Path, tmp_path: Path) -> Callable[[Callable[[dict[str, Any]], object]], Path]:
    def make(change: Callable[[dict[str, Any]], object]) -> Path:
        shutil.copytree(bench, tmp_path / "bench")
        path = tmp_path / "bench" / "result" / "measurement.json"
        record = json.loads(path.read_text(encoding="utf-8"))
        change(record)
        path.write_text(json.dumps(record, indent=2), encoding="utf-8")
        return tmp_path / "bench" / "result"

    return make


def test_a_result_is_the_same_again(bench: Path) -> None:
    (checked,) = verify(bench / "result")
    assert (checked.outcome, checked.reasons) == ("same", ())


def test_a_page_is_the_same_again_though_times_and_names_are_left_out(bench: Path, tmp_path: Path) -> None:
    page = write_page(read_sources([bench / "result"]), tmp_path / "page.html", Shown())
    (unseen,) = verify(page)
    assert unseen.outcome == "not checked"
    assert "before (before.jpg): no photo with SHA-256" in unseen.reasons[1]
    (checked,) = verify(page, [bench])
    assert (checked.outcome, checked.reasons) == ("same", ())


def test_a_figure_that_was_changed_is_named(changed: Callable[..., Path]) -> None:
    folder = changed(lambda record: record["passes"][0]["zones"]["patch"].update(pickup_percent=99.0))
    (checked,) = verify(folder)
    assert checked.outcome == "differs"
    assert checked.reasons[0].startswith("Photos, version and libraries are those of the record.")
    assert checked.reasons[1].startswith("passes[0].zones.patch.pickup_percent: 99.0 in the record, ")


def test_another_version_is_named_as_the_reason(changed: Callable[..., Path]) -> None:
    (checked,) = verify(changed(lambda record: record.update(version="0.0.1")))
    assert checked.outcome == "differs"
    assert checked.reasons[0].startswith("It was measured by debriscount 0.0.1, and this is ")


def test_rounding_makes_no_difference(changed: Callable[..., Path]) -> None:
    def nudge(record: dict[str, Any]) -> None:
        record["passes"][0]["zones"]["patch"]["pickup_percent"] += 1e-4
        record["passes"][0]["zones"]["patch"]["before"]["area_mm2"] += 1e-3

    (checked,) = verify(changed(nudge))
    assert checked.outcome == "same within rounding"


def test_a_photo_that_was_changed_is_named(changed: Callable[..., Path]) -> None:
    folder = changed(lambda record: None)
    photo = folder.parent / "IMG_20261123_141532.jpg"
    photo.write_bytes(photo.read_bytes() + b"\0")
    (checked,) = verify(folder)
    assert checked.outcome == "not checked"
    assert checked.reasons[0].startswith("after (IMG_20261123_141532.jpg): no photo with SHA-256")
    result = CliRunner().invoke(app, ["verify", str(folder), "--quiet"])
    assert result.exit_code == 3
    assert result.stdout == "result: not checked\n"
    assert "name its folder with --photos" in result.stderr


def test_a_record_of_an_earlier_version_cannot_be_checked(changed: Callable[..., Path]) -> None:
    (checked,) = verify(changed(lambda record: record.pop("inputs")))
    assert checked.outcome == "not checked"
    assert "did not yet write down what it measured with" in checked.reasons[0]


def test_a_damaged_record_is_refused(changed: Callable[..., Path], tmp_path: Path) -> None:
    with pytest.raises(InputFileError, match="is not whole"):
        verify(changed(lambda record: record.pop("patch")))
    with pytest.raises(InputFileError, match=r"holds no measurement\.json"):
        verify(tmp_path)


def older(record: dict[str, Any]) -> None:
    record["made_with"]["numpy"] = "1.0"


def test_other_libraries_alone_are_no_difference(changed: Callable[..., Path]) -> None:
    (checked,) = verify(changed(older))
    assert (checked.outcome, checked.reasons) == ("same", ())


def test_other_libraries_explain_a_difference(changed: Callable[..., Path]) -> None:
    def older_and_other(record: dict[str, Any]) -> None:
        older(record)
        record["passes"][0]["zones"]["patch"].update(pickup_percent=99.0)

    (checked,) = verify(changed(older_and_other))
    assert checked.outcome == "differs"
    assert "numpy 1.0" in checked.reasons[0] and "which may explain it" in checked.reasons[0]
