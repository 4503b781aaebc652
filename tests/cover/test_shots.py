"""The shots of a run on their way to one light: painted scenes, truth known."""

from typing import TYPE_CHECKING

import numpy as np
import pytest
from numpy.typing import NDArray

from debriscount.cover.discriminant import SHADE, SHEEN
from debriscount.cover.kinds import KindHint
from debriscount.cover.shots import Shots

if TYPE_CHECKING:
    from tests.cover.conftest import Painter

RADIUS_PX = 6.0


def kind(painter: "Painter", size_px: tuple[float, float] = (11.0, 13.0)) -> KindHint:
    return KindHint(painter.lentil.astype(float), size_px)


def shots_of(painter: "Painter", views: dict[str, NDArray[np.float32]], kinds: list[KindHint] | None = None) -> Shots:
    everywhere = np.ones(painter.shape, bool)
    return Shots(views, everywhere, kinds or [kind(painter)], everywhere)


def run_views(painter: "Painter", light: float = 0.7, with_blank: bool = True) -> dict[str, NDArray[np.float32]]:
    floor = painter.grained(1)
    before, after = painter.scatter(2, 100, RADIUS_PX), painter.scatter(3, 30, RADIUS_PX)
    views = {"blank": painter.photographed(floor, np.zeros(painter.shape, np.float32), seed=10)} if with_blank else {}
    views["before"] = painter.photographed(floor, before.cover, light, seed=11)
    views["after"] = painter.photographed(floor, after.cover, seed=12)
    return views


def test_the_blank_gives_the_light_or_the_last_shot_does(painter: "Painter") -> None:
    for with_blank, reference in ((True, "blank"), (False, "after")):
        views = run_views(painter, with_blank=with_blank)
        run = shots_of(painter, views)
        assert run.reference == reference
        assert run.matched[reference] is views[reference]
        bare = painter.scatter(2, 100, RADIUS_PX).cover == 0
        assert np.median((run.matched["before"] / painter.grained(1))[bare][:, :2]) == pytest.approx(1, abs=0.01)
        assert run.dirty_names == ["before", "after"]
        assert [view is run.matched[name] for view, name in zip(run.dirty(), run.dirty_names, strict=True)] == [
            True
        ] * 2


def test_fine_grains_and_coarse_ones_are_looked_at_differently(painter: "Painter") -> None:
    views = run_views(painter)
    coarse = shots_of(painter, views)
    mixed = shots_of(painter, views, [kind(painter), kind(painter, (2.0, 3.0))])
    assert (coarse.fine, coarse.shade, coarse.averaged_px) == (False, SHADE, 11.0)
    assert (mixed.fine, mixed.shade, mixed.averaged_px) == (True, SHEEN, None)
    assert (mixed.smallest, mixed.largest) == (2.0, 13.0)


@pytest.mark.parametrize("names", [["blank", "before", "after"], ["before", "after"], ["before"]])
def test_the_first_floor_is_about_the_floor_however_many_shots_there_are(painter: "Painter", names: list[str]) -> None:
    views = {name: view for name, view in run_views(painter, light=1.0).items() if name in names}
    run = shots_of(painter, views)
    floor = run.first_floor()
    off = np.abs(floor.mean / painter.grained(1) - 1)[..., :2]
    assert np.median(off) < 0.05
    assert floor.noise.sigma.shape == floor.mean.shape
    assert not floor.hidden.any()
    assert run.alone == (len(names) == 1)


def test_floor_that_every_shot_covers_is_hidden(painter: "Painter") -> None:
    floor, strewn = painter.grained(1), painter.scatter(2, 60, RADIUS_PX)
    views = {n: painter.photographed(floor, strewn.cover, seed=k) for k, n in enumerate(["before", "after"])}
    run = shots_of(painter, views)
    covered = strewn.cover > 0
    first = run.first_floor()
    found = run.floor(dict.fromkeys(views, covered), first)
    assert found.hidden[covered].all()
    assert found.hidden.mean() < 0.3
    off = np.abs(found.mean / floor - 1)[..., :2]
    assert np.quantile(off, 0.95) < 0.15


def test_a_soft_shadow_in_one_shot_is_taken_off_where_floor_is_bare(painter: "Painter") -> None:
    """The shade of a person, 90 px wide, which the stiff surface of the first match cannot follow."""
    floor, strewn = painter.grained(1), painter.scatter(2, 60, RADIUS_PX)
    across = np.broadcast_to(np.arange(painter.shape[1]), painter.shape)
    shade = (1 - 0.3 / (1 + np.exp((across - 200) / 30)))[..., None].astype(np.float32)
    views = {
        "blank": painter.photographed(floor, np.zeros(painter.shape, np.float32), seed=10),
        "before": painter.photographed(floor, strewn.cover, shade, seed=11),
    }
    run = shots_of(painter, views)
    bare = strewn.cover == 0

    def left() -> float:
        """Largest error of a column's light in red and green."""
        share = np.where(bare[..., None], run.matched["before"] / floor, np.nan)[..., :2]
        return float(np.abs(np.nanmedian(share, axis=0) - 1).max())

    stiff = left()
    run.match_light({"blank": np.zeros(painter.shape, bool), "before": ~bare})
    assert left() < min(0.5 * stiff, 0.04)
