import io
from dataclasses import replace

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from debriscount.flags import Flag
from debriscount.grains.table import GrainTable
from debriscount.pickup.records import PassFigures
from debriscount.pickup.trust import untold
from debriscount.registration.grid import FloorGrid
from debriscount.report import pictures
from debriscount.report.canvas import enlargement
from debriscount.report.caption import PAPER, Caption
from debriscount.report.palette import DARK, LIGHT, distances, floor_colors, outline_colors
from debriscount.report.pictures import draw_overlay, encode_jpeg
from debriscount.run.records import MeasuredShot, Measurement


def _at(image: NDArray[np.uint8], grid: FloorGrid, x_mm: float, y_mm: float) -> tuple[int, ...]:
    column, row = np.rint(grid.to_px(np.array([x_mm, y_mm]))).astype(int)
    return tuple(image[row, column].tolist())


def _smaller(run: Measurement, step: int) -> Measurement:
    """Same run in a view with every ``step``-th pixel."""
    grid = replace(run.grid, mm_per_px=run.grid.mm_per_px * step)
    shots = tuple(
        replace(s, floor_view=s.floor_view[::step, ::step], kind_map=s.kind_map[::step, ::step]) for s in run.shots
    )
    height, width = shots[0].kind_map.shape
    return replace(run, grid=replace(grid, height_px=height, width_px=width), shots=shots)


def _outlines(run: Measurement) -> list[tuple[int, int, int]]:
    floor = floor_colors(run.shots[0].floor_view, run.shots[0].kind_map)
    return outline_colors(floor, [kind.color_srgb for kind in run.kinds])


def test_overlay_is_the_floor_view_with_a_caption_below(run: Measurement) -> None:
    image = draw_overlay(run.shots[0], run)
    assert image.dtype == np.uint8
    assert image.shape[1:] == (1200, 3)
    assert image.shape[0] > 1000
    assert (image[1010:, 5] == PAPER).all()


def test_debris_keeps_its_pixels_and_its_outline_lies_outside(run: Measurement) -> None:
    shot = run.shots[0]
    image = draw_overlay(shot, run)[:1000]
    colors = _outlines(run)
    grain = (shot.kind_map > 0) & (np.arange(1200) > 300)[None] & (np.arange(1000) > 200)[:, None]
    assert (image[grain] == shot.floor_view[grain]).all()
    for code, color in enumerate(colors, start=1):
        outline = (image == color).all(axis=2)
        assert outline.any()
        away = cv2.distanceTransform((shot.kind_map != code).astype(np.uint8), cv2.DIST_L2, 5)
        assert away[outline].min() > 0
        assert away[outline].max() < 3


def test_a_grain_of_one_pixel_is_ringed(run: Measurement) -> None:
    image = draw_overlay(run.shots[0], run)
    grid, sand = run.grid, _outlines(run)[1]
    assert _at(image, grid, 30.05, 60.05) == run.kinds[1].color_srgb
    for dx, dy in ((0.1, 0), (-0.1, 0), (0, 0.1), (0, -0.1)):
        assert _at(image, grid, 30.05 + dx, 60.05 + dy) == sand


def test_outlines_and_borders_differ_for_all_eyes(run: Measurement) -> None:
    colors = _outlines(run)
    assert distances(colors, [DARK, LIGHT]).min() > 20  # see TELLING in test_palette.py


def test_all_shots_of_a_run_use_the_same_outlines(run: Measurement) -> None:
    lentils = _outlines(run)[0]
    dark = replace(run.shots[2], floor_view=(run.shots[2].floor_view * 0.3).astype(np.uint8))
    for shot in (*run.shots[:2], dark):
        assert (draw_overlay(shot, replace(run, shots=(*run.shots[:2], dark)))[:1000] == lentils).all(axis=2).any()


def test_what_is_not_measured_is_dimmed_and_not_outlined(run: Measurement) -> None:
    kind_map = run.shots[0].kind_map.copy()
    kind_map[2:12, 600:640] = 1  # 3.5 mm behind the wall
    image = draw_overlay(replace(run.shots[0], kind_map=kind_map), run)
    assert _at(image, run.grid, 60.0, -2.0) == (137, 137, 136)  # 0.4 · 150 + 0.6 · 128 = 136.8
    assert len(np.unique(image[:30, 550:690].reshape(-1, 3), axis=0)) == 1
    assert _at(image, run.grid, 60.0, 30.0) == (150, 150, 148)
    assert _at(image, run.grid, 106.0, 70.0) == (150, 150, 148)  # margin


def test_small_views_are_enlarged(run: Measurement) -> None:
    assert [enlargement(width) for width in (2000, 1200, 1199, 600, 599, 300, 50)] == [1, 1, 2, 2, 3, 4, 4]
    small = _smaller(run, 2)
    image = draw_overlay(small.shots[0], small)
    assert image.shape[1] == 1200
    # x = 10 mm, the border of the edge zone, lies at the same share of the width.
    column = round((10.0 - (-4.0 + 0.05 - 0.1 + 0.05)) / 0.1)
    assert (image[400:700, column - 2 : column + 2] == DARK).all(axis=2).any(axis=1).mean() > 0.4


def test_arrays_of_another_shape_are_refused(run: Measurement) -> None:
    shot = run.shots[0]
    with pytest.raises(ValueError, match=r"kind_map of 'before' must have shape \(1000, 1200\), got \(999, 1200\)"):
        draw_overlay(replace(shot, kind_map=shot.kind_map[1:]), run)
    with pytest.raises(ValueError, match=r"floor_view of 'before' must have shape \(1000, 1200, 3\)"):
        draw_overlay(replace(shot, floor_view=shot.floor_view[..., :2]), run)


def test_drawing_leaves_the_measurement_as_it_was(run: Measurement) -> None:
    before = [(shot.floor_view.copy(), shot.kind_map.copy()) for shot in run.shots]
    for shot, (view, kind_map) in zip(run.shots, before, strict=True):
        draw_overlay(shot, run)
        assert (shot.floor_view == view).all()
        assert (shot.kind_map == kind_map).all()


def test_captions_tell_shot_patch_and_figures(run: Measurement, captions: list[Caption]) -> None:
    for shot in run.shots:
        draw_overlay(shot, run)
    assert [c.title for c in captions] == [
        'before \N{EN DASH} Küche "links", hinten',
        'after (pass 1) \N{EN DASH} Küche "links", hinten',
        'after2 (pass 2) \N{EN DASH} Küche "links", hinten',
    ]
    assert captions[0].figures == "Debris in the patch: 50.3 mm², 7 grains"
    assert captions[1].figures == (
        "Debris in the patch: 25.1 mm², 4 grains. Pickup 50.0 %, sound (95 % interval 48.0 to 52.5 %)"
    )
    assert captions[0].note.startswith("Photo before größer.jpg, patch 100 x 80 mm, 0.1 mm per pixel")
    legends = [[entry.text for entry in c.legend] for c in captions]
    lines = ["border of the patch", "border of a zone"]
    assert legends[0] == ["rote Linsen, groß", '"fine" sand', *lines, "not measured"]
    assert legends[1] == ["rote Linsen, groß", '"fine" sand', *lines, "pickup of the zone", "not measured"]


def test_a_negative_pickup_is_explained(run: Measurement, captions: list[Caption]) -> None:
    zones = {"patch": replace(run.passes[0].zones["patch"], pickup_percent=-12.3)}
    draw_overlay(run.shots[1], replace(run, passes=(PassFigures(1, zones, {}),)))
    assert captions[0].figures.endswith("Pickup -12.3 %, sound: more debris lies here than before: pushed in")


def test_next_to_nothing_left_is_worded_as_in_the_table(
    run: Measurement, captions: list[Caption], monkeypatch: pytest.MonkeyPatch
) -> None:
    labels: list[dict[str, list[str]]] = []
    monkeypatch.setattr(pictures, "draw_labels", lambda *_, texts, size: labels.append(texts))
    clean = replace(run.passes[0].zones["patch"], pickup_percent=100.0, more_than_percent=99.6789)
    draw_overlay(run.shots[1], replace(run, passes=(PassFigures(1, {"patch": clean, "edge": clean}, {}),)))
    assert captions[0].figures.endswith("Pickup more than 99.6 %, sound (95 % interval 47.9 to 52.5 %)")
    assert labels[0]["edge"] == ["edge more than 99.6 %", "edge\nmore than 99.6 %", "edge"]


def test_what_is_doubtful_or_not_measurable_is_called_so(
    run: Measurement, captions: list[Caption], monkeypatch: pytest.MonkeyPatch
) -> None:
    labels: list[dict[str, list[str]]] = []
    monkeypatch.setattr(pictures, "draw_labels", lambda *_, texts, size: labels.append(texts))
    zones = {
        "patch": untold(run.passes[0].zones["patch"], "its 95 % interval is wider than 30 points"),
        "edge": replace(run.passes[0].zones["open"], trust="doubtful"),
    }
    draw_overlay(run.shots[1], replace(run, passes=(PassFigures(1, zones, {}),)))
    assert captions[0].figures.endswith(". Pickup not measurable")
    assert labels[0]["edge"][0] == "edge 50.0 % doubtful"
    unfit = Flag(code="blurred", severity="unfit", sentence="is blurred", shot="after")
    draw_overlay(run.shots[1], replace(run, flags=(unfit,)))
    assert ". Pickup 50.0 %, not fit to publish (95 % interval" in captions[1].figures
    draw_overlay(run.shots[2], replace(run, flags=(unfit,)))
    assert ". Pickup 50.0 %, sound (95 % interval" in captions[2].figures


def test_a_blank_shows_what_the_clean_floor_itself_shows(run: Measurement, captions: list[Caption]) -> None:
    blank = replace(run.shots[0], name="blank", file="")
    draw_overlay(blank, replace(run, shots=(blank, *run.shots)))
    assert captions[0].title.startswith("blank \N{EN DASH}")
    # Seven of the eight grains lie in the patch: 4 discs of 2 mm and 3 of 0.05 mm radius.
    assert captions[0].figures == "Debris in the patch: 50.3 mm², 7 grains"
    assert captions[0].note.startswith("patch 100 x 80 mm")


def test_a_floor_without_debris_or_kinds_is_drawn_all_the_same(run: Measurement) -> None:
    none = np.zeros(0)
    grains = GrainTable(none.astype(np.int16), none, none, none, none.astype(np.int8))
    clean: MeasuredShot = replace(run.shots[0], kind_map=np.zeros(run.grid.shape, np.uint8), grains=grains)
    assert draw_overlay(clean, replace(run, shots=(clean,))).shape[1] == 1200
    assert draw_overlay(clean, replace(run, shots=(clean,), kinds=(), passes=())).shape[1] == 1200


def test_debris_that_covers_everything_is_drawn_all_the_same(run: Measurement) -> None:
    full = replace(run.shots[0], kind_map=np.ones(run.grid.shape, np.uint8))
    assert draw_overlay(full, replace(run, shots=(full,))).shape[1] == 1200


def test_jpeg_keeps_colour_at_full_resolution(run: Measurement) -> None:
    image = draw_overlay(run.shots[1], run)
    data = encode_jpeg(image)
    assert data[:2] == b"\xff\xd8"
    assert b"Exif" not in data
    with Image.open(io.BytesIO(data)) as picture:
        back = np.asarray(picture)
    assert back.shape == image.shape
    assert np.abs(back.astype(int) - image).mean() < 3
    frame = data.index(b"\xff\xc0")
    assert data[frame + 11] == 0x11  # sampling factors of the first component: 1 x 1
