from dataclasses import replace
from pathlib import Path

from debriscount.inputs.debris import CalibrationPortion, DebrisCalibration, DebrisKind
from debriscount.inputs.debris_file import read_debris
from debriscount.inputs.debris_write import debris_toml

PORTION = CalibrationPortion(
    photos=("a.jpg", "b.jpg"), sha256=("0" * 64, "f" * 64), grams=20.1, u_grams=0.05, area_mm2=11_500.0, grains=640.5
)
CALIBRATION = DebrisCalibration(
    date="2026-11-25",
    patch="hall bench",
    u_area_mass_mg_per_mm2=0.012,
    portions=(PORTION, replace(PORTION, grams=5, grains=None)),
    dof_area_mass=3,
    u_grain_mass_mg=0.4,
    u_crowding=0.1,
    thousand_grain_mass_g=31.9,
    u_thousand_grain_mass_g=0.2,
    remark='simulated, "planks"',
)
KIND = DebrisKind("red lentils", (0xD4, 0x64, 0x31), (4.14, 5.58), 31.9, 1.7295, 0.4, CALIBRATION)


def read_back(kind: DebrisKind, folder: Path, remark: str = "") -> DebrisKind:
    (folder / "debris.toml").write_text(debris_toml(kind, remark), encoding="utf-8")
    return read_debris(folder / "debris.toml")


def test_what_is_written_is_read_as_the_same(tmp_path: Path) -> None:
    assert read_back(KIND, tmp_path, "weighed\nby hand") == KIND
    bare = DebrisKind("sand", (1, 2, 3), (0.3, 0.6))
    assert read_back(bare, tmp_path) == bare


def test_remarks_become_comments_and_numbers_stay_short() -> None:
    text = debris_toml(replace(KIND, area_mass_mg_per_mm2=1 / 3, size_mm=(4.0, 6.0)), "weighed\nby hand")
    assert text.startswith("# weighed\n# by hand\n")
    assert "\nsize_mm = [4, 6] # 5th and 95th percentile of grain diameter\n" in text
    assert "\narea_mass_mg_per_mm2 = 0.3333333 #" in text
