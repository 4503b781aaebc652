"""The peer: what a competent person would write in an afternoon, without debriscount.

``python tests/benchmarks/plain_script.py FOLDER`` measures a folder with patch.toml, before.jpg, after*.jpg and perhaps
blank.jpg. OpenCV finds the markers, scikit-image does the rest.
"""

# scikit-image says nothing about its types.
# mypy: disable-error-code="no-untyped-call"

import sys
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from scipy.ndimage import distance_transform_edt
from skimage import color, feature, filters, io, measure, segmentation, transform

MM_PER_PX = 0.3


def floor_view(photo: Path, patch: Mapping[str, Any]) -> np.ndarray:
    """Patch and margin seen from straight above, CIELAB; the plane comes from the marker corners."""
    pixels = io.imread(photo)
    parameters = cv2.aruco.DetectorParameters()
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    corners, ids, _ = cv2.aruco.ArucoDetector(dictionary, parameters).detectMarkers(pixels)
    seen = {} if ids is None else dict(zip(np.ravel(ids).tolist(), corners, strict=True))
    floor_mm, photo_px = [], []
    for marker in patch["markers"]:
        if marker["id"] in seen:
            square = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * marker["side_mm"] / 2
            floor_mm.append(square + marker["center_mm"])
            photo_px.append(np.reshape(seen[marker["id"]], (4, 2)))
    left, top, right, bottom = outer_box(patch)
    view_px = (np.concatenate(floor_mm) - (left, top)) / MM_PER_PX - 0.5
    plane = transform.estimate_transform("projective", view_px, np.concatenate(photo_px))
    shape = (int((bottom - top) / MM_PER_PX), int((right - left) / MM_PER_PX))
    return np.asarray(color.rgb2lab(transform.warp(pixels, plane, output_shape=shape)))


def outer_box(patch: Mapping[str, Any]) -> tuple[float, float, float, float]:
    """Left, top, right and bottom of patch and margin, mm; no margin behind a wall."""
    size, margin, walls = patch["patch"], patch["zones"]["margin_mm"], patch["patch"]["walls"]
    return (
        0 if "left" in walls else -margin,
        0 if "top" in walls else -margin,
        size["width_mm"] + (0 if "right" in walls else margin),
        size["height_mm"] + (0 if "bottom" in walls else margin),
    )


def zones_of(x: np.ndarray, y: np.ndarray, patch: Mapping[str, Any]) -> np.ndarray:
    """Zone of each place by name."""
    size, zones = patch["patch"], patch["zones"]
    walls = {"left": x, "right": size["width_mm"] - x, "top": y, "bottom": size["height_mm"] - y}
    inside = np.min(list(walls.values()), axis=0) >= 0
    to_wall = np.array([np.where(inside, walls[w], np.inf) for w in size["walls"]]).reshape(len(size["walls"]), len(x))
    zone = np.where(inside, "open", "margin").astype("<U6")
    zone[(to_wall < zones["edge_mm"]).any(axis=0)] = "edge"
    zone[(to_wall < zones["corner_mm"]).sum(axis=0) == 2] = "corner"
    return zone


def floor_distance(view: np.ndarray, bare: np.ndarray | None, careful: bool) -> np.ndarray:
    """CIELAB distance of every pixel from the clean floor or, without its photo, from the floor's usual colour."""
    usual = np.median(view, axis=(0, 1))
    if bare is None:
        return np.asarray(np.linalg.norm(view - usual, axis=-1))
    light = usual - np.median(bare, axis=(0, 1)) if careful else 0  # most of every photo is floor
    return np.asarray(np.linalg.norm(view - bare - light, axis=-1))


def find_grains(distance: np.ndarray, threshold: float, grain_mm: float | None) -> tuple[np.ndarray, ...]:
    """Place (x, y) and area of each grain, px."""
    mask = distance > threshold
    depth = distance_transform_edt(mask)
    apart = max(1, int(0.5 * (grain_mm or 0) / MM_PER_PX))
    peaks = feature.peak_local_max(depth, min_distance=apart, labels=measure.label(mask), exclude_border=False)
    seeds = np.zeros(mask.shape, int)
    seeds[tuple(peaks.T)] = np.arange(1, len(peaks) + 1)
    labels = segmentation.watershed(-depth, seeds, mask=mask)
    table = measure.regionprops_table(labels, properties=("centroid", "area"))
    least = 0.2 * np.pi / 4 * (grain_mm / MM_PER_PX) ** 2 if grain_mm else 9
    large = table["area"] >= max(least, 2)
    return table["centroid-1"][large], table["centroid-0"][large], table["area"][large]


def measure_plain(
    patch_file: Path,
    shots: Mapping[str, Path],
    blank: Path | None,
    grain_mm: float | None = None,
    *,
    careful: bool = True,
) -> dict[str, dict[str, tuple[int, float]]]:
    """Grains and their area, mm², by shot and zone.

    Parameters
    ----------
    patch_file : Path
        patch.toml.
    shots : mapping of str to Path
        Photos by shot name, one of them "before".
    blank : Path, optional
        Photo of the clean floor; without one the floor is taken to have one colour.
    grain_mm : float, optional
        Diameter of a small grain.
    careful : bool
        Allow for light that differs from photo to photo, and let the threshold of the photo before hold for all;
        else each photo is taken as it comes and has its own threshold.
    """
    patch = tomllib.loads(patch_file.read_text(encoding="utf-8"))
    views = {name: floor_view(photo, patch) for name, photo in shots.items()}
    bare = None if blank is None else floor_view(blank, patch)
    distances = {name: floor_distance(view, bare, careful) for name, view in views.items()}
    thresholds = {name: float(filters.threshold_otsu(d)) for name, d in distances.items()}
    if careful:  # Otsu finds something on any floor, so the photo with the most debris has the word
        thresholds = dict.fromkeys(distances, thresholds["before"])
    left, top, _, _ = outer_box(patch)
    found = {}
    for name, distance in distances.items():
        x, y, area = find_grains(distance, thresholds[name], grain_mm)
        zone = zones_of(left + (x + 0.5) * MM_PER_PX, top + (y + 0.5) * MM_PER_PX, patch)
        members = {z: zone == z for z in ("open", "edge", "corner", "margin")}
        members = {"patch": zone != "margin", **members}
        found[name] = {z: (int(m.sum()), float(area[m].sum()) * MM_PER_PX**2) for z, m in members.items()}
    return found


def main(folder: Path) -> None:
    """Print the pickup of every zone after every pass."""
    blank = folder / "blank.jpg"
    shots = {file.stem: file for file in (folder / "before.jpg", *sorted(folder.glob("after*.jpg")))}
    found = measure_plain(folder / "patch.toml", shots, blank if blank.is_file() else None)
    before = found.pop("before")
    for shot, after in found.items():
        flung = max(0.0, after["margin"][1] - before["margin"][1])
        for zone in ("patch", "open", "edge", "corner"):
            left = after[zone][1] + (flung if zone == "patch" else 0)
            if before[zone][1] > 0:
                print(f"{shot:<8}{zone:<8}{100 * (1 - left / before[zone][1]):6.1f} %")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
