"""The truth of a scene: every grain, its fate in each pass, and what follows for zones."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats, Mask
from ..inputs.patch import OUTSIDE, ZONES, Patch, zone_in_patch
from .clean import DISPLACED, FATES, GONE, REMOVED, UNTOUCHED, clean
from .grains import Grains, draw_grains
from .pose import Pose, pose_shots
from .route import Route, draw_route
from .scatter import scatter_grains
from .spec import Cleaning, SceneSpec

#: First source of chance of the ways driven, far from all others, so that another way leaves the rest as it was.
_ROUTES = 1000

__all__ = ["DISPLACED", "FATES", "GONE", "REMOVED", "UNTOUCHED", "SceneTruth", "TrueAmount", "draw_truth"]


@dataclass(frozen=True, slots=True)
class TrueAmount:
    """Debris in a zone: summed silhouettes from above, number, and mass (None if a kind's is unknown)."""

    area_mm2: float
    grains: int
    mass_g: float | None


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class SceneTruth:
    """What is so in a scene, whatever the photos show.

    State 0 is *before*, state p after pass p. ``places_mm`` of shape (P + 1, N, 2) holds grain centres
    (of a grain gone, its last), ``lying`` of shape (P + 1, N) which are there, ``angle_rad`` of shape
    (P + 1, N) their directions, ``fate`` of shape (P, N) indices into ``FATES``. ``reached`` of shape (P, N) tells
    whether the machine passed over the place where a grain lay before that pass, False for those gone; the P
    ``routes`` tell it for any place. ``poses`` is keyed by photo name.
    """

    patch: Patch
    kinds: tuple[str, ...]
    grains: Grains
    places_mm: Floats
    angle_rad: Floats
    lying: Mask
    fate: NDArray[np.int8]
    reached: Mask
    lanes: tuple[Cleaning, ...]
    routes: tuple[Route, ...]
    poses: dict[str, Pose]

    @property
    def passes(self) -> int:
        """Number of passes."""
        return len(self.fate)

    def zone_codes(self, state: int) -> NDArray[np.int8]:
        """Zone that holds each grain's centre in a state, shape (N,); ``OUTSIDE`` for those gone."""
        codes = self.patch.zone_codes(*self.places_mm[state].T)
        return np.where(self.lying[state], codes, OUTSIDE).astype(np.int8)

    def amounts(self, state: int, kind: int | None = None) -> dict[str, TrueAmount]:
        """Debris of all kinds or one, by "patch" and zone."""
        return {name: self._amount(member, kind) for name, member in self._members(state, kind).items()}

    def _members(self, state: int, kind: int | None) -> dict[str, Mask]:
        """Which grains lie in the patch and in each zone, arrays of shape (N,)."""
        codes = self.zone_codes(state)
        own = np.ones(len(codes), bool) if kind is None else self.grains.kind == kind
        members = {"patch": zone_in_patch(codes) & own}
        return members | {name: (codes == ZONES.index(name)) & own for name in self.patch.zone_names()}

    def _amount(self, chosen: Mask, kind: int | None) -> TrueAmount:
        own = self.grains.kind == kind if kind is not None else np.ones(len(chosen), bool)
        known = not np.isnan(self.grains.mass_mg[own]).any()
        mass = float(self.grains.mass_mg[chosen].sum()) / 1000 if known else None
        return TrueAmount(float(self.grains.area_mm2[chosen].sum()), int(chosen.sum()), mass)

    def pickup_percent(self, passed: int, kind: int | None = None, by: str = "area_mm2") -> dict[str, float | None]:
        """Pickup by zone after a pass (1 is the first), percent, None where nothing lay before.

        Parameters
        ----------
        passed : int
            Pass, counted from 1; figures are against *before*.
        kind : int, optional
            Index of a kind.
        by : {"area_mm2", "grains", "mass_g"}
            What is compared.

        Notes
        -----
        100 (1 - after / before); the patch's own counts the margin's gain as left.
        """
        before, after = self.amounts(0, kind), self.amounts(passed, kind)
        values: dict[str, float | None] = {}
        for zone in before:
            start, end = getattr(before[zone], by), getattr(after[zone], by)
            if not start or end is None:
                values[zone] = None
                continue
            if zone == "patch" and "margin" in before:
                end = end + max(0.0, getattr(after["margin"], by) - getattr(before["margin"], by))
            values[zone] = 100 * (1 - end / start)
        return values

    def leftovers_percent(
        self, passed: int, zone: str = "patch", kind: int | None = None
    ) -> tuple[float, float] | None:
        """Shares of the area left in the patch or a zone that lie untouched and shifted; None if none is left."""
        moved = (self.fate[:passed] == DISPLACED).any(axis=0)
        shifted = self._share_percent(self._members(passed, kind)[zone], moved)
        return None if shifted is None else (100 - shifted, shifted)

    def reached_percent(self, passed: int, kind: int | None = None) -> dict[str, float | None]:
        """Share of the area that lay in the patch and each zone before a pass (1 is the first) that it passed over.

        None where nothing lay.
        """
        members = self._members(passed - 1, kind)
        return {zone: self._share_percent(member, self.reached[passed - 1]) for zone, member in members.items()}

    def _share_percent(self, of: Mask, part: Mask) -> float | None:
        area = self.grains.area_mm2
        total = float(area[of].sum())
        return 100 * (float(area[of & part].sum()) / total) if total else None


def draw_truth(spec: SceneSpec) -> SceneTruth:
    """Draw a scene's truth from its seed.

    Parameters
    ----------
    spec : SceneSpec
        Checked by `check_spec`.

    Returns
    -------
    SceneTruth
        Grains, layout, each pass, its way and the camera have sources of chance of their own: another
        camera sees the same grains.

    Raises
    ------
    SceneError
        Too many grains, a way that cannot reach as much as asked for, or a camera that does not see the markers.
    """
    patch = spec.patch
    grains = draw_grains(spec.portions, patch.width_mm * patch.height_mm, chance(spec, 0))
    layout = chance(spec, 1)
    places = [scatter_grains(patch, grains, spec.scatter, layout)]
    angles = [layout.uniform(0, 2 * np.pi, len(grains))]
    lying, fates = [np.ones(len(grains), bool)], []
    routes = tuple(draw_route(patch, cleaning, chance(spec, _ROUTES + p)) for p, cleaning in enumerate(spec.passes))
    reached = []
    for number, cleaning in enumerate(spec.passes):
        rng = chance(spec, 10 + number)
        reached.append(lying[-1] & routes[number].reaches(places[-1]))
        cleaned = clean(patch, grains, places[-1], lying[-1], cleaning, reached=reached[-1], rng=rng)
        turned = rng.uniform(0, 2 * np.pi, len(grains))
        places.append(cleaned.places_mm)
        angles.append(np.where(cleaned.fate == DISPLACED, turned, angles[-1]))
        fates.append(cleaned.fate)
        lying.append((cleaned.fate == UNTOUCHED) | (cleaned.fate == DISPLACED))
    poses = pose_shots(patch, spec.camera, len(spec.shot_names), chance(spec, 2))
    return SceneTruth(
        patch=patch,
        kinds=tuple(portion.kind.name for portion in spec.portions),
        grains=grains,
        places_mm=np.array(places),
        angle_rad=np.array(angles),
        lying=np.array(lying),
        fate=np.array(fates, np.int8).reshape(len(fates), len(grains)),
        reached=np.array(reached, bool).reshape(len(fates), len(grains)),
        lanes=spec.passes,
        routes=routes,
        poses=dict(zip(spec.shot_of, poses, strict=True)),
    )


def chance(spec: SceneSpec, stream: int) -> np.random.Generator:
    """Return the source of chance of one part of a scene."""
    return np.random.default_rng([spec.seed, stream])
