from pathlib import Path

import pytest

from debriscount.errors import InputFileError, PatchLayoutError
from debriscount.inputs.debris_file import read_debris
from debriscount.inputs.names import MOST_NAME, name_fault
from debriscount.inputs.patch_file import read_patch
from debriscount_cli._patch_answers import read_name

ROOT = Path(__file__).parents[2]


@pytest.mark.parametrize("name", ["hall bench", "Küche 「左」", "a" * MOST_NAME, "=1+1", "all the rice"])
def test_usual_names_may_stay(name: str) -> None:
    assert name_fault(name, ("patch",)) == ""
    assert read_name(f" {name} ") == name


@pytest.mark.parametrize(
    ("name", "fault"),
    [
        ("", "must not be empty"),
        ("a" * 101, "must have at most 100 characters"),
        ("a\nb", "must not hold control characters"),
        ("a\x1b[2J", "must not hold control characters"),
        ("a\u202eb", "marks that turn the direction of writing"),
        ("All", 'must not be "All", which stands for something else in tables'),
    ],
)
def test_what_cannot_be_is_said(name: str, fault: str) -> None:
    assert fault in name_fault(name)


def test_patch_words_say_so_too() -> None:
    with pytest.raises(PatchLayoutError, match="the name of the patch must have at most 100 characters"):
        read_name("a" * 10_000)
    with pytest.raises(PatchLayoutError, match='the name of the patch must not be "Total"'):
        read_name("Total")


@pytest.mark.parametrize("name", ["a" * 10_000, "a\\nb", "a\\u001b", "a\\u202e"])
def test_files_with_such_names_are_refused_with_their_line(tmp_path: Path, name: str) -> None:
    patch = (ROOT / "reference_images" / "mixed-tile-edge" / "patch.toml").read_text(encoding="utf-8")
    lines = [f'name = "{name}"' if line.startswith("name") else line for line in patch.splitlines()]
    (tmp_path / "patch.toml").write_text("\n".join(lines))
    with pytest.raises(
        InputFileError, match=r"patch\.toml line \d+: \[patch\] name must (not hold|have at most)"
    ) as raised:
        read_patch(tmp_path / "patch.toml")
    assert len(str(raised.value)) < 500


@pytest.mark.parametrize(("name", "fault"), [("Total", 'must not be "Total", which'), ("Patch", '"Patch" is taken')])
def test_a_zone_is_not_called_as_tables_call_others(tmp_path: Path, name: str, fault: str) -> None:
    patch = (ROOT / "reference_images" / "mixed-tile-edge" / "patch.toml").read_text(encoding="utf-8")
    zone = f'\n[[zones.custom]]\nname = "{name}"\npolygon_mm = [[0, 0], [9, 0], [9, 9]]\n'
    (tmp_path / "patch.toml").write_text(patch + zone)
    with pytest.raises(InputFileError, match=rf"\[\[zones\.custom\]\] name {fault}"):
        read_patch(tmp_path / "patch.toml")


@pytest.mark.parametrize("name", ["all", "Total", "patch"])
def test_a_kind_is_not_called_as_tables_call_all_of_them(tmp_path: Path, name: str) -> None:
    (tmp_path / "a.toml").write_text(f'[debris]\nname = "{name}"\ncolor = "#a8482c"\nsize_mm = [4.0, 6.0]\n')
    with pytest.raises(InputFileError, match=rf'a\.toml line 2: \[debris\] name must not be "{name}"'):
        read_debris(tmp_path / "a.toml")
