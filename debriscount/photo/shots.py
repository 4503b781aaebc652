"""The photos of one run beside one another: what differs between them, and what they have in common."""

from collections.abc import Mapping
from dataclasses import replace

from .colour import grey_pixels
from .read import Photo
from .settings import differing_settings


def side_by_side(photos: Mapping[str, Photo]) -> tuple[dict[str, Photo], tuple[str, ...]]:
    """Make the photos of a run comparable, and tell what stands against it.

    Parameters
    ----------
    photos : mapping of str to Photo
        By name of the shot.

    Returns
    -------
    dict of str to Photo
        The same photos or, if any of them is grey, all of them in grey.
    tuple of str
        The photos' own warnings, with the shot's name before them, then those about the run.
    """
    told = [f"{name}: {warning}" for name, photo in photos.items() for warning in photo.warnings]
    told += differing_settings({name: photo.settings for name, photo in photos.items()})
    grey = [name for name, photo in photos.items() if photo.grey]
    if not grey:
        return dict(photos), tuple(told)
    told.append(
        f"{', '.join(grey)}: shows no colour, so that all shots are measured by lightness alone, and debris as "
        "light as the floor is not seen; take all photos in colour"
    )
    return {name: in_grey(photo) for name, photo in photos.items()}, tuple(told)


def in_grey(photo: Photo) -> Photo:
    """Return the photo without its colour."""
    return photo if photo.grey else replace(photo, pixels=grey_pixels(photo.pixels), grey=True)
