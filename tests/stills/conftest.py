"""Results of made-up runs for stills."""

from pathlib import Path

import pytest

from debriscount.page.sources import read_sources
from debriscount.stills.views import RunViews, views_of

from ..page.conftest import result, second  # noqa: F401
from ..report.conftest import explained, run  # noqa: F401


@pytest.fixture(scope="session")
def views(result: Path) -> RunViews:  # noqa: F811
    """A run of two passes on a patch of 100 x 80 mm with two walls."""
    return views_of(read_sources([result]).runs[0])


@pytest.fixture(scope="session")
def doubtful(second: Path) -> RunViews:  # noqa: F811
    """Another one, of one pass, whose pickup is doubtful."""
    return views_of(read_sources([second]).runs[0])
