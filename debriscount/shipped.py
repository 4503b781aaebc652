"""Where the files that come with the package lie."""

from importlib.resources import files
from importlib.util import find_spec
from pathlib import Path


def shipped_folder(package: str, folder: str) -> Path:
    """Return the folder of shipped files.

    Parameters
    ----------
    package : str
        Name under which the folder is installed, such as "debriscount._reference".
    folder : str
        Its name at the top of the source tree, where it lies when nothing is installed.

    Returns
    -------
    Path
    """
    if find_spec(package) is not None:
        return Path(str(files(package)))
    return Path(__file__).parents[1] / folder
