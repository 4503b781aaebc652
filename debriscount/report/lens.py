"""What was learnt of a lens, for people and for programs."""

from collections.abc import Sequence

from .. import __version__
from ..camera.calibrate import LearntLens
from ..serialize import picked
from ..stats.quantity import plus_minus

FORMAT = "debriscount/lens/1"
_TERMS = ("k1", "k2", "k3", "p1", "p2")
_SHARES = ("rms_px", "coverage_percent", "reach_percent")


def lens_json(learnt: LearntLens) -> dict[str, object]:
    """Return what was learnt as a record; lengths in pixels of the photos as they lay on the sensor."""
    lens, how, board = learnt.lens, learnt.lens.calibration, learnt.board
    assert how is not None  # it was learnt just now
    terms, doubts = (*lens.radial, *lens.tangential), (*how.u_radial, *how.u_tangential)
    return {
        "format": FORMAT,
        "version": __version__,
        "lens": {
            **picked(lens, "name size_px"),
            "focal_px": _digits(lens.focal_px),
            "center_px": _digits(lens.center_px),
            **dict(zip(_TERMS, _digits(terms), strict=True)),
            "focal_length_mm": lens.focal_length_mm,
        },
        "calibration": {
            "date": how.date,
            "board": picked(board, "columns rows square_mm dictionary marker_mm"),
            **picked(learnt, "photos=used without_board"),
            **dict(zip(_SHARES, _digits([getattr(how, name) for name in _SHARES]), strict=True)),
            **picked(how, "verdict reasons"),
            "u_focal_px": _digits(how.u_focal_px),
            "u_center_px": _digits(how.u_center_px),
            **{f"u_{term}": value for term, value in zip(_TERMS, _digits(doubts), strict=True)},
        },
    }


def lens_text(learnt: LearntLens) -> str:
    """Return what was learnt as a table, the verdict first and what keeps it from good last."""
    lens, how = learnt.lens, learnt.lens.calibration
    assert how is not None
    total = len(learnt.used) + len(learnt.without_board)
    (fx, fy), (cx, cy), (u_fx, u_fy), (u_cx, u_cy) = lens.focal_px, lens.center_px, how.u_focal_px, how.u_center_px
    rows = [
        ("board", learnt.board.text),
        ("photos", f"{len(learnt.used)} of {total} used, {lens.size_px[0]} x {lens.size_px[1]} px"),
        ("residual", f"{how.rms_px:.2f} px, root mean square"),
        (
            "coverage",
            f"{how.coverage_percent:.0f} % of the frame; {how.reach_percent:.0f} % of the way from middle to corners",
        ),
        ("focal length", f"{plus_minus(fx, u_fx)}, {plus_minus(fy, u_fy)} px"),
        ("principal point", f"{plus_minus(cx, u_cx)}, {plus_minus(cy, u_cy)} px"),
    ]
    terms, doubts = (*lens.radial, *lens.tangential), (*how.u_radial, *how.u_tangential)
    rows += [(term, plus_minus(value, u)) for term, value, u in zip(_TERMS, terms, doubts, strict=True)]
    lines = [f'lens "{lens.name}": {how.verdict}', *(f"  {label:<16} {value}" for label, value in rows)]
    if learnt.without_board:
        lines.append(f"No board found in: {', '.join(learnt.without_board)}")
    lines += [f"To do: {reason}" for reason in how.reasons]
    return "\n".join([*lines, "After ± stands the standard uncertainty."]) + "\n"


def _digits(values: Sequence[float]) -> list[float]:
    """Six figures, more than any calibration is good for."""
    return [float(f"{value:.6g}") for value in values]
