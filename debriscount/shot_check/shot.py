"""Check a shot: will it do, and if not, why and what to do."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import median

from ..errors import MarkerError
from ..inputs.debris import DebrisKind
from ..inputs.lens import CameraLens
from ..inputs.patch import Patch
from ..markers.copies import is_copy
from ..photo.read import Photo
from ..photo.saved_again import same_picture
from ..photo.shots import side_by_side
from ..registration.locate import LocatedShots, locate_shots
from . import contrast, focus, light, placing
from .allowance import middle_mm, own_error_finding
from .look import ShotLook, cell_mm, look_at
from .records import USUAL_WANT, Finding, Fitness, at_least, told

#: Share of the patch that a photo must show, percent: the rest is a rim narrower than a zone border is known.
WHOLE_PERCENT = 99.8


def check_shot(
    photo: Photo,
    patch: Patch,
    kinds: Sequence[DebrisKind] = (),
    *,
    against: Photo | None = None,
    want_percent: float = USUAL_WANT,
    lens: CameraLens | None = None,
) -> Fitness:
    """Check one photo, by itself or against another of the same patch.

    Parameters
    ----------
    photo : Photo
        The photo to check.
    patch : Patch
        The patch that it shows.
    kinds : sequence of DebrisKind
        Debris that is to be told from the floor; without any, what depends on it is told without a limit.
    against : Photo, optional
        Another shot of the same run.
    want_percent : float
        Accuracy wanted, percentage points of pickup.
    lens : CameraLens, optional
        The calibrated lens.

    Returns
    -------
    Fitness
        A photo in which too few markers are found is not fit; so is one whose other shot lacks them.
    """
    photos, notes = side_by_side({"shot": photo} if against is None else {"other": against, "shot": photo})
    name = "" if against is None else against.name
    try:
        located = locate_shots(photos, patch, lens=lens)
    except MarkerError as error:
        fault = Finding(
            name="markers seen",
            value=None,
            unit=f"of {len(patch.markers)}",
            limit=placing.NEEDED,
            least=True,
            fit=False,
            reason="",
            advice=str(error),
            code="markers-hidden",
        )
        return Fitness(photo.name, name, want_percent, (fault,))
    if against is not None and (
        same_picture(photo, against) or is_copy(photo, located.seen["shot"], against, located.seen["other"])
    ):
        advice = f"This is the same picture as {name}: give another shot of the run."
        fault = Finding(
            name="another picture",
            value=None,
            unit="",
            limit=None,
            least=True,
            fit=False,
            reason="a run's shots differ",
            advice=advice,
            code="same-photo",
        )
        return Fitness(photo.name, name, want_percent, (fault,))
    checked = check_located(photos, located, patch, kinds, want_percent)["shot"]
    remarks = [told("photo", None, "", "as its file tells", f"{note[0].upper()}{note[1:]}.") for note in notes]
    return replace(checked, findings=(*checked.findings, *remarks))


def check_located(
    photos: Mapping[str, Photo],
    located: LocatedShots,
    patch: Patch,
    kinds: Sequence[DebrisKind],
    want_percent: float,
) -> dict[str, Fitness]:
    """Check shots whose markers are found: the first by itself, all others against the first."""
    cell = cell_mm(patch, max((kind.size_mm[1] for kind in kinds), default=0.0))
    looks = {name: look_at(photo, located.views[name], patch, cell) for name, photo in photos.items()}
    seen = {name: _seen(photo, located, name, patch, looks[name]) for name, photo in photos.items()}
    first = next(iter(seen.values()))
    checked = {}
    for name, one in seen.items():
        findings = _alone(one, patch, kinds, want_percent, None if one is first else first)
        if one is not first:
            findings += _against(one, first, kinds, want_percent)
        other = "" if one is first else first.photo.name
        checked[name] = Fitness(one.photo.name, other, want_percent, tuple(findings))
    return checked


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Seen:
    """One shot with what several findings need of it."""

    photo: Photo
    look: ShotLook
    markers: list[Finding]
    steep_deg: float
    mm_per_px: float
    residual_mm: float
    border_u_mm: float
    spread_px: float | None
    paper: float | None

    def clarity(self, kind: DebrisKind) -> contrast.Clarity:
        """How a kind stands out in the shot."""
        return contrast.clarity(
            self.look,
            kind,
            self.mm_per_px,
            paper=self.paper,
            spread_px=self.spread_px,
            jpeg_steps=self.photo.jpeg_steps,
        )


def _seen(photo: Photo, located: LocatedShots, name: str, patch: Patch, look: ShotLook) -> _Seen:
    markers = located.markers[name]
    papers = [m.paper for m in markers.values() if m.paper is not None]
    return _Seen(
        photo=photo,
        look=look,
        markers=placing.marker_findings(located, name, patch),
        steep_deg=placing.steepness_deg(located, name, patch),
        mm_per_px=placing.coarsest_mm_per_px(located, name, patch),
        residual_mm=located.residual_mm[name],
        border_u_mm=placing.border_u_mm(located, name, patch),
        spread_px=focus.edge_spread_px(markers),
        paper=median(papers) if papers else None,
    )


def _alone(one: _Seen, patch: Patch, kinds: Sequence[DebrisKind], want: float, other: _Seen | None) -> list[Finding]:
    finest = min((middle_mm(kind) for kind in kinds), default=None)
    findings = [
        own_error_finding(want),
        *one.markers,
        at_least(
            "patch in the picture",
            100 * one.look.shown,
            "%",
            WHOLE_PERCENT,
            "what is not in the picture is not measured",
            "Retake it with the whole patch in view.",
            "patch-cut",
        ),
        placing.tilt_finding(one.steep_deg),
        *placing.scale_findings(one.mm_per_px, finest, want),
        *placing.place_findings(one.residual_mm, one.border_u_mm, patch, want),
        *focus.sharpness_findings(
            one.spread_px, one.mm_per_px, finest, None if other is None else other.spread_px, want
        ),
        light.burnt_finding(one.look, want),
        light.uneven_finding(one.look),
    ]
    if other is None:
        findings.append(light.dark_finding(one.look))
    for kind in kinds:
        clarity = one.clarity(kind)
        findings += contrast.clarity_findings(kind.name, clarity, want)
        if other is None:
            findings.append(contrast.pattern_finding(kind.name, clarity))
    return findings


def _against(one: _Seen, other: _Seen, kinds: Sequence[DebrisKind], want: float) -> list[Finding]:
    findings = [
        placing.same_slant_finding(one.steep_deg, other.steep_deg, want),
        *light.change_findings(one.look, other.look, want),
    ]
    for kind in kinds:
        findings += contrast.change_findings(kind.name, one.clarity(kind), other.clarity(kind), want)
    return findings
