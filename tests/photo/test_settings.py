import pytest

from debriscount.photo.settings import UNKNOWN_SETTINGS, CameraSettings, differing_settings

USUAL = CameraSettings(
    taken="2026-05-01T10:30:00",
    exposure_s=1 / 60,
    f_number=1.8,
    iso=100.0,
    focal_mm=4.25,
    focal_35mm=26.0,
    exposure_bias_ev=0.0,
    white_balance="manual",
    flash=False,
)


def with_(**changes: object) -> CameraSettings:
    from dataclasses import replace

    return replace(USUAL, **changes)  # type: ignore[arg-type]


def test_shots_taken_alike_are_not_told_of() -> None:
    assert differing_settings({}) == []
    assert differing_settings({"before": USUAL}) == []
    later = with_(taken="2026-05-01T10:41:00", exposure_bias_ev=0.3, focal_35mm=None)
    assert differing_settings({"blank": USUAL, "before": UNKNOWN_SETTINGS, "after": later}) == []


def test_how_cameras_round_is_no_difference() -> None:
    assert differing_settings({"before": USUAL, "after": with_(exposure_s=0.0167, f_number=1.79)}) == []


@pytest.mark.parametrize(
    ("changes", "warning"),
    [
        (
            {"exposure_s": 1 / 30},
            "exposure time differs between the shots (before 1/60 s, after 1/30 s); fix the exposure for all shots of "
            "a run",
        ),
        (
            {"exposure_s": 2.0},
            "exposure time differs between the shots (before 1/60 s, after 2 s); fix the exposure for all shots of a "
            "run",
        ),
        (
            {"f_number": 2.8},
            "aperture differs between the shots (before f/1.8, after f/2.8); fix the exposure for all shots of a run",
        ),
        (
            {"iso": 400.0},
            "sensitivity differs between the shots (before ISO 100, after ISO 400); fix the exposure for all shots of "
            "a run",
        ),
        (
            {"white_balance": "auto"},
            "white balance differs between the shots (before manual, after auto); fix the white balance for all shots "
            "of a run",
        ),
        (
            {"focal_mm": 6.9},
            "focal length differs between the shots (before 4.25 mm, after 6.9 mm); take all shots of a run with the "
            "same lens and without zoom",
        ),
        (
            {"flash": True},
            "flash differs between the shots (before off, after on); take all shots of a run in the same light",
        ),
    ],
)
def test_what_differs_is_told_with_shots_and_values_and_a_way_out(changes: dict[str, object], warning: str) -> None:
    assert differing_settings({"before": USUAL, "after": with_(**changes)}) == [warning]


def test_several_differences_are_told_one_by_one_of_the_shots_that_know_them() -> None:
    shots = {"blank": UNKNOWN_SETTINGS, "before": USUAL, "after": USUAL, "after2": with_(iso=50.0, flash=True)}
    assert [warning.split(";")[0] for warning in differing_settings(shots)] == [
        "sensitivity differs between the shots (before ISO 100, after ISO 100, after2 ISO 50)",
        "flash differs between the shots (before off, after off, after2 on)",
    ]
