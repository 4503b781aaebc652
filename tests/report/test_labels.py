import numpy as np
from numpy.typing import NDArray

from debriscount.inputs.patch import ZONES
from debriscount.report.labels import draw_label, draw_labels
from debriscount.run.records import Measurement

NAMES = ("open", "edge", "corner", "margin", "rug")


def _labels(run: Measurement, covered: NDArray[np.uint8], **texts: list[str]) -> list[tuple[int, int, int, int]]:
    image = np.full((*run.grid.shape, 3), 150, np.uint8)
    return draw_labels(image, covered, run.patch, run.grid, texts=texts, size=18)


def _zones_under(run: Measurement, box: tuple[int, int, int, int]) -> set[str]:
    left, top, right, bottom = box
    codes = run.patch.zone_codes(*np.meshgrid(run.grid.x_mm()[left:right], run.grid.y_mm()[top:bottom]))
    return {ZONES[code] for code in np.unique(codes)}


def test_each_label_lies_in_its_zone(run: Measurement) -> None:
    boxes = _labels(run, np.zeros(run.grid.shape, np.uint8), **{name: [name] for name in NAMES[:4]})
    assert [_zones_under(run, box) for box in boxes] == [{"open"}, {"edge"}, {"edge"}, {"corner"}, {"margin"}]


def test_a_label_hides_no_debris_if_there_is_room(run: Measurement) -> None:
    covered = np.ones(run.grid.shape, np.uint8)
    covered[500:560, 700:900] = 0
    ((left, top, right, bottom),) = _labels(run, covered, open=["open"])
    assert not covered[top:bottom, left:right].any()


def test_labels_do_not_hide_each_other(run: Measurement) -> None:
    covered = np.ones(run.grid.shape, np.uint8)
    covered[600:660, 400:600] = 0  # the only free place, shared by "open" and "rug"
    boxes = _labels(run, covered, open=["open"], rug=["rug"])
    painted = np.zeros(run.grid.shape, int)
    for left, top, right, bottom in boxes:
        painted[top:bottom, left:right] += 1
    assert painted.max() == 1


def test_the_first_text_that_fits_is_used(run: Measurement) -> None:
    free = np.zeros(run.grid.shape, np.uint8)
    long = "corner of many, many, many words"
    ((left, _, right, _),) = _labels(run, free, corner=[long, "corner"])
    assert right - left < 200  # the corner is 20 mm of 0.1 mm
    ((_, top, _, bottom),) = _labels(run, free, corner=[long, "corner\n100.0 %", "c"])
    assert bottom - top > 36  # two lines
    ((left, _, right, _),) = _labels(run, free, corner=[long])
    assert right - left > 200  # nothing fits, yet the zone is named


def test_the_floor_shines_through_a_label() -> None:
    image = np.zeros((60, 200, 3), np.uint8)
    image[:, 100:] = 255
    draw_label(image, "", (10, 10), (180, 40), 20)
    assert image[30, 50].max() < image[30, 150].min() < 255
    assert (image[:10] == image[50:]).all()
