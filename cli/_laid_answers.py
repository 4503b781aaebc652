"""A patch from a photo of squares that were laid anyhow, and where its corners are to be marked."""

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from debriscount.errors import PatchLayoutError

from ._interview import Answer, Interview
from ._patch_answers import read_name, read_side, read_size, read_width, usual_widths_mm
from ._terminal import said_aside

if TYPE_CHECKING:
    from debriscount.camera.laid import LaidSquares
    from debriscount.layout.patch_among import CornerPlace

#: What stands for no tape measure.
_NONE = "none"


def patch_of_laid(photo: Path, given: Mapping[str, str | None], out: Path, *, silent: bool, overwrite: bool) -> None:
    """Find the squares, ask for one distance by tape, lay the patch, and write it with a picture of its corners.

    Parameters
    ----------
    photo : Path
        Photo of the squares, from above.
    given : mapping of str to str or None
        Words for name, size, margin, side and tape; None where they are to be asked for.
    out : Path
        Patch file to write.
    silent : bool
        Whether nothing is asked.
    overwrite : bool
        Whether files that are there may be replaced.
    """
    from debriscount.opencv import require_opencv

    require_opencv()
    from debriscount.camera.laid import farthest_pair, lay_by_photo, scaled_by_tape
    from debriscount.inputs.patch_write import patch_toml
    from debriscount.inputs.save import refuse_existing, save_files
    from debriscount.layout.check_layout import check_layout
    from debriscount.layout.patch_among import patch_among
    from debriscount.markers.find_markers import find_markers
    from debriscount.photo.read import read_photo
    from debriscount.report.folder import picture_bytes
    from debriscount.report.laid import draw_corners

    picture = out.with_name(f"{out.stem}-corners.jpg")
    if not overwrite:
        refuse_existing([out, picture])
    interview = Interview(PatchLayoutError, silent=silent)

    def answer(key: str, question: str, usual: str, read: Callable[[str], Answer]) -> Answer:
        word = given.get(key)
        return interview.ask(question, usual, read) if word is None else read(word)

    side_mm = answer("side", "Side of the black squares, mm", "50", read_side)
    shot = read_photo(photo)
    height, width = shot.pixels.shape[:2]
    laid = lay_by_photo(find_markers(shot.pixels, range(50)), side_mm, (width, height))
    first, second, apart_mm = farthest_pair(laid)
    question = (
        f"Distance between the centres of squares {first} and {second} by tape, mm, or none ({apart_mm:.0f} here)"
    )
    tape_mm = answer("tape", question, _NONE, _read_tape)
    if tape_mm is not None:
        laid = scaled_by_tape(laid, first, second, tape_mm)
    size = answer("size", "Width x height of the patch, mm", "600x400", read_size)
    margin = answer("margin", "Margin: ring around the patch, mm wide", f"{usual_widths_mm(size)[2]:g}", read_width)
    name = answer("name", "Name of the patch", "patch", read_name)
    patch, corners, places_mm = patch_among(laid.markers, size, name, margin)
    check_layout(patch, width * height / 1e6)
    drawn = picture_bytes(draw_corners(shot.pixels, laid.to_photo(places_mm)))
    save_files({out: patch_toml(patch).encode(), picture: drawn}, overwrite=overwrite)
    typer.echo(_text(laid, corners, None if tape_mm is None else (apart_mm, tape_mm)), nl=False)
    said_aside(f"wrote {out} and {picture}; corner angles to tape down are drawn with")
    typer.echo(f"debriscount markers --patch {out} --corner-angles --out markers.pdf", err=True)


def _text(laid: "LaidSquares", corners: "tuple[CornerPlace, ...]", tape: tuple[float, float] | None) -> str:
    numbers = ", ".join(str(marker.id) for marker in laid.markers)
    worst = max(laid.u_mm.values())
    lines = [f"Squares {numbers}: places known to {worst:.1f} mm, corners seen to {laid.off_px:.2f} px."]
    if tape is None:
        lines.append("No tape measure has checked the scale: measure one distance, and give it with --tape.")
    else:
        seen_mm, tape_mm = tape
        lines.append(
            f"By tape {tape_mm:g} mm, by photo {seen_mm:.1f} mm: everything was scaled by {tape_mm / seen_mm:.4f}."
        )
    lines.append("Mark the patch's corners, each where two tapes meet, as the picture shows:")
    for corner in corners:
        (a, a_mm), (b, b_mm) = corner.first, corner.second
        lines.append(
            f"  {corner.name:<13}{a_mm:5.0f} mm from the centre of square {a}, {b_mm:5.0f} mm from that of {b}"
        )
    return "\n".join(lines) + "\n"


def _read_tape(text: str) -> float | None:
    return None if text.strip().lower() == _NONE else read_side(text)
