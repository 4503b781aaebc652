"""What to expect of a set-up before anything is scattered: made-up runs of it, measured."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..errors import DebriscountError, SceneError
from ..photo.colour import linear_to_lab, srgb_to_linear
from .floors import usual_color
from .scene import NOT_MODELLED, Scene, make_scene
from .spec import SceneSpec

#: Above this many points a pickup says too little to compare machines (common practice, no source).
USELESS_POINTS = 5.0
#: Below this many pixels a grain's cover is lost in noise and compression; a rule of thumb.
SMALL_PX = 1.0
#: Below this CIELAB difference debris and floor look alike; a rule of thumb.
ALIKE = 12.0
MOST_RUNS = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class Expectation:
    """Measured made-up runs of one set-up.

    ``errors_points`` are measured less true pickup of the patch after the last pass, one a measured
    run; ``failures`` what measuring said of the others. ``grain_px`` is the diameter of a middling
    grain of the smallest kind, ``colour_difference`` that of the most floor-like kind (CIELAB).
    """

    title: str
    errors_points: tuple[float, ...]
    true_percent: tuple[float, ...]
    failures: tuple[str, ...]
    grain_px: float
    mm_per_px: float
    height_mm: float
    colour_difference: float

    @property
    def runs(self) -> int:
        """Number of runs made."""
        return len(self.errors_points) + len(self.failures)

    @property
    def bias_points(self) -> float | None:
        """Mean error; None without a measured run."""
        return float(np.mean(self.errors_points)) if self.errors_points else None

    @property
    def spread_points(self) -> float | None:
        """Standard deviation of the errors; None with fewer than two."""
        return float(np.std(self.errors_points, ddof=1)) if len(self.errors_points) > 1 else None

    @property
    def expect_points(self) -> float | None:
        """Half width within which about 95 % of such runs lie: twice the root mean square error."""
        return 2 * float(np.sqrt(np.mean(np.square(self.errors_points)))) if self.errors_points else None


def expect(spec: SceneSpec, runs: int, progress: Callable[[float, str], None] | None = None) -> Expectation:
    """Make and measure random runs of a set-up.

    Parameters
    ----------
    spec : SceneSpec
        The set-up. Seed, direction of light, lanes and pickup differ from run to run (pickup by up
        to a tenth of what is missing to 1); all else stays.
    runs : int
        1 to ``MOST_RUNS``.
    progress : callable, optional
        Told the share done and what is being done.

    Returns
    -------
    Expectation

    Raises
    ------
    SceneError
        The spec cannot be, has no pass, or ``runs`` is out of its range.
    """
    if not 1 <= runs <= MOST_RUNS:
        raise SceneError(f"expect must be from 1 to {MOST_RUNS} runs, got {runs}.")
    if not spec.passes:
        raise SceneError("the scene has no pass, so there is no pickup to expect. Give it one.")
    errors, true, failures, pose = [], [], [], None
    for number in range(runs):
        if progress is not None:
            progress(number / runs, f"run {number + 1} of {runs}")
        scene = make_scene(_varied(spec, number))
        pose = scene.truth.poses["before"]
        so = scene.truth.pickup_percent(scene.truth.passes)["patch"]
        try:
            found = _measured_percent(scene)
        except DebriscountError as error:
            failures.append(str(error))
            continue
        if found is None or so is None:
            failures.append("no pickup could be given: no debris was seen in the patch")
            continue
        errors.append(found - so)
        true.append(so)
    assert pose is not None
    mm = pose.mm_per_px((spec.patch.width_mm / 2, spec.patch.height_mm / 2))
    middle_mm = [float(np.sqrt(np.prod(portion.kind.size_mm))) for portion in spec.portions]
    return Expectation(
        title=_title(spec, pose.eye_mm[2], middle_mm),
        errors_points=tuple(errors),
        true_percent=tuple(true),
        failures=tuple(failures),
        grain_px=min(middle_mm) / mm,
        mm_per_px=mm,
        height_mm=pose.eye_mm[2],
        colour_difference=_colour_difference(spec),
    )


def _varied(spec: SceneSpec, number: int) -> SceneSpec:
    rng = np.random.default_rng([spec.seed, 1000, number])
    light = replace(spec.light, azimuth_deg=float(rng.uniform(0, 360)))
    passes = tuple(
        replace(
            p,
            offset_mm=float(rng.uniform(0, p.pitch_mm)),
            pickup=float(np.clip(p.pickup + 0.1 * (1 - p.pickup) * rng.uniform(-1, 1), 0, 1)),
        )
        for p in spec.passes
    )
    return replace(spec, light=light, passes=passes, seed=spec.seed + number)


def _measured_percent(scene: Scene) -> float | None:
    from ..run.measure import measure

    shots = {name: scene.pixels(name) for name in scene.spec.shot_names}
    measurement = measure(
        scene.spec.patch,
        shots["before"],
        [pixels for name, pixels in shots.items() if name.startswith("after")],
        blank=shots.get("blank"),
        debris=[portion.kind for portion in scene.spec.portions],
    )
    return measurement.passes[-1].zones["patch"].pickup_percent


def _title(spec: SceneSpec, height_mm: float, middle_mm: Sequence[float]) -> str:
    debris = " and ".join(
        f"{portion.kind.name} {size:.2g} mm" for portion, size in zip(spec.portions, middle_mm, strict=True)
    )
    photo = f"from {height_mm / 10:.0f} cm at {spec.camera.megapixels:g} MP"
    return f"{debris} on {spec.floor.kind} {photo}"


def _colour_difference(spec: SceneSpec) -> float:
    """Smallest CIELAB distance between a kind and the floor's own colour [CIE 15]."""
    floor = linear_to_lab(srgb_to_linear(np.array(usual_color(spec.floor)) / 255))
    kinds = [linear_to_lab(srgb_to_linear(np.array(portion.kind.color_srgb) / 255)) for portion in spec.portions]
    return min(float(np.linalg.norm(kind - floor)) for kind in kinds)


def expectation_text(result: Expectation) -> str:
    """Return what a person should read of it, several lines."""
    lines = [f"{result.title}: {_verdict(result)}"]
    lines.append(
        f"A grain of middle size is {result.grain_px:.1f} px across ({result.mm_per_px:.3f} mm a pixel, camera at"
        f" {result.height_mm:.0f} mm)."
    )
    bias, spread = result.bias_points, result.spread_points
    if bias is not None:
        spread_text = "unknown from one run" if spread is None else f"{spread:.2f}"
        lines.append(
            f"{len(result.errors_points)} of {result.runs} made-up runs measured: mean error {bias:+.2f}"
            f" points, standard deviation {spread_text}, largest {max(map(abs, result.errors_points)):.2f}."
        )
    lines += [f"Not measured: {text}" for text in dict.fromkeys(result.failures)]
    lines.append(f"Real photos add what is not modelled: {'; '.join(NOT_MODELLED)}.")
    return "\n".join(lines) + "\n"


def _verdict(result: Expectation) -> str:
    wide = result.expect_points
    if wide is not None and wide <= USELESS_POINTS and not result.failures:
        return f"expect ±{max(wide, 0.05):.1f} points."
    if wide is None:
        start = "this cannot be measured."
    elif result.failures:
        start = (
            f"{len(result.failures)} of {result.runs} runs cannot be measured; of the rest expect ±{wide:.1f} points."
        )
    else:
        start = f"expect ±{wide:.0f} points, too much to compare machines."
    return f"{start} {_reason(result)}"


def _reason(result: Expectation) -> str:
    if result.grain_px < SMALL_PX:
        return (
            f"Grains are too small in the photo ({result.grain_px:.1f} px): go to"
            f" {result.height_mm * result.grain_px / (2 * SMALL_PX):.0f} mm with a smaller patch,"
            " or take a camera with more pixels."
        )
    if result.colour_difference < ALIKE:
        return (
            f"Debris and floor look alike (colour difference {result.colour_difference:.0f}):"
            " take another debris or floor."
        )
    if result.failures:
        return "What stands below says why."
    return "Neither size nor colour explains it: look at pictures of this set-up."
