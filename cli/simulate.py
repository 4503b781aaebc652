"""``debriscount simulate``."""

from pathlib import Path
from typing import Annotated

import typer

from ._debris import debris_paths
from ._options import Debris, WallSides
from ._terminal import progress_bar, said_written


def simulate(
    *,
    out: Annotated[
        Path | None, typer.Option(metavar="DIR", help="New or empty folder for photos, files and truth.")
    ] = None,
    expect: Annotated[
        int, typer.Option(metavar="N", help="Make and measure N runs, and say what error to expect.")
    ] = 0,
    debris: Debris = None,
    size: Annotated[
        str | None,
        typer.Option(metavar="MM,MM", help='Diameter of the grains, instead of a debris file, such as "4,6".'),
    ] = None,
    color: Annotated[str | None, typer.Option(metavar="#RRGGBB", help="Colour of the debris, with --size.")] = None,
    shape: Annotated[str, typer.Option(help="Shape of the grains: round, long or irregular.")] = "round",
    load: Annotated[
        float | None, typer.Option(metavar="PERCENT", help="Share of the patch that debris covers; 4 if not given.")
    ] = None,
    grams: Annotated[float | None, typer.Option(help="Mass of the debris, instead of --load.")] = None,
    floor: Annotated[str, typer.Option(help="Floor: plain, planks, tile, terrazzo or carpet.")] = "planks",
    floor_color: Annotated[str | None, typer.Option(metavar="#RRGGBB", help="Colour of the floor.")] = None,
    contrast: Annotated[float, typer.Option(help="Contrast of the floor's pattern; 1 is usual.")] = 1.0,
    patch_size: Annotated[str, typer.Option(metavar="WxH", help="Size of the patch in mm.")] = "600x400",
    wall: WallSides = None,
    camera_height: Annotated[
        float | None, typer.Option(metavar="MM", help="Height of the camera; as low as the markers allow if not given.")
    ] = None,
    megapixels: Annotated[float, typer.Option(help="Megapixels of the camera.")] = 12.0,
    tilt: Annotated[float, typer.Option(metavar="DEG", help="Tilt of the camera.")] = 4.0,
    pickup: Annotated[
        float, typer.Option(metavar="PERCENT", help="Share that the machine picks up where it goes.")
    ] = 92.0,
    edge_pickup: Annotated[
        float | None, typer.Option(metavar="PERCENT", help="The same along walls; somewhat less if not given.")
    ] = None,
    path: Annotated[str, typer.Option(help="How the machine drives: lanes, wander, spiral or everywhere.")] = "lanes",
    room: Annotated[
        str | None, typer.Option(metavar="WxH", help="Size of a room in m instead of a patch: a lane of it is missed.")
    ] = None,
    photos: Annotated[
        str, typer.Option(metavar="NxM", help="Photos across and down that make a shot; neighbours overlap.")
    ] = "1x1",
    passes: Annotated[int, typer.Option(help="How often the machine runs.")] = 1,
    seed: Annotated[int, typer.Option(help="The same seed makes the same files.")] = 0,
    film: Annotated[
        str | None,
        typer.Option(
            metavar="WxH", help="Make a film of the machine at work instead of photos, such as 1920x1080 pixels."
        ),
    ] = None,
    rate: Annotated[float, typer.Option(metavar="N", help="Frames a second of the film.")] = 15.0,
) -> None:
    """Make photos of an invented run, a film of it, or try a set-up.

    The truth of such a run is known, so that --expect can say what error your set-up would have.
    """
    from debriscount.opencv import require_opencv

    require_opencv()
    from debriscount.errors import SceneError
    from debriscount.simulate.expect import expect as measure_runs
    from debriscount.simulate.expect import expectation_text
    from debriscount.simulate.options import scene_spec
    from debriscount.simulate.scene import make_scene
    from debriscount.simulate.write import truth_text, write_scene

    if out is None and expect == 0:
        raise SceneError("nothing to do. Give --out DIR for photos, or --expect N for what to expect.")
    spec = scene_spec(
        debris=debris_paths(debris),
        size_mm=size,
        color=color,
        shape=shape,
        load_percent=load,
        grams=grams,
        floor=floor,
        floor_color=floor_color,
        contrast=contrast,
        patch_mm=patch_size,
        walls=wall or (),
        height_mm=camera_height,
        megapixels=megapixels,
        tilt_deg=tilt,
        pickup_percent=pickup,
        edge_pickup_percent=edge_pickup,
        path=path,
        passes=passes,
        room_m=room,
        photos=photos,
        seed=seed,
    )
    if out is not None and film is not None:
        from debriscount.simulate.film import draw_film, film_spec
        from debriscount.simulate.write_film import write_film

        truth = draw_film(film_spec(spec, film, rate))
        with progress_bar(wanted=True) as progress:
            said_written(out, write_film(truth, out, progress))
    elif out is not None:
        scene = make_scene(spec)
        written = write_scene(scene, out)
        typer.echo(truth_text(scene), nl=False)
        said_written(out, written)
    if expect != 0:
        with progress_bar(wanted=True) as progress:
            result = measure_runs(spec, expect, progress)
        typer.echo(expectation_text(result), nl=False)
