import csv
import io
from dataclasses import replace

import pytest

from debriscount.inputs.weighing import Net, Scale, Weighing
from debriscount.pickup.records import Amount, PassFigures, ZoneFigures
from debriscount.report.record import agreement_json
from debriscount.report.scale_text import scale_block
from debriscount.report.tables import zones_csv
from debriscount.run.records import BestPickup, Measurement, ScaleFigures
from debriscount.scale.agreement import agree
from debriscount.scale.fault_patterns import Evidence
from debriscount.scale.pickup import weighed_pickup
from debriscount.stats.quantity import Quantity

WEIGHING = Weighing(Scale(0.01, 0.01, 0.01, 1000.0), Net((120.0,), (100.0,)), bin=Net((316.0,), (300.0,)))
BY_AREA = PassFigures(
    1,
    {
        "patch": ZoneFigures(
            before=Amount(10.0, 2, None), after=Amount(2.0, 1, None), gone_percent=80.0, pickup_percent=80.0
        )
    },
    {},
)
BY_MASS = PassFigures(
    1,
    {
        "patch": ZoneFigures(
            before=Amount(10.0, 2, 1.0), after=Amount(2.0, 1, 0.2), gone_percent=80.0, pickup_percent=80.0
        )
    },
    {},
)


def figures(photo: Quantity, best: dict[str, BestPickup], evidence: Evidence | None = None) -> ScaleFigures:
    weighed = weighed_pickup(WEIGHING)
    assert weighed.pickup_percent is not None
    return ScaleFigures(WEIGHING, weighed, agree(photo, weighed.pickup_percent, evidence), best)


def test_photo_scale_and_best_stand_beside_each_other() -> None:
    best = {"patch": BestPickup(80.1, 0.2, (79.7, 80.5)), "edge": BestPickup(40.0, 2.0, (36.0, 44.0))}
    (block,) = scale_block(figures(Quantity(80.4, 0.5), best), BY_MASS)
    lines = block.splitlines()
    assert lines[0] == "Photo and scale agree on the pickup of the patch:"
    assert lines[1].split() == ["by", "photo,", "as", "mass", "80.4", "%", "79.4", "to", "81.4", "%"]
    assert lines[2].split()[:4] == ["by", "scale", "80.0", "%"]
    assert lines[3].split() == ["best", "of", "both", "80.1", "%", "79.7", "to", "80.5", "%"]
    assert lines[4].split() == ["edge", "40.0", "%", "36.0", "to", "44.0", "%"]


@pytest.mark.parametrize(
    ("photo", "title"),
    [
        (Quantity(90.0, 0.5), "Photo and scale disagree on the pickup of the patch, so there is no best figure:"),
        (Quantity(81.3, 0.5), "It is doubtful whether photo and scale agree, so there is no best figure:"),
        (Quantity(84.0, 9.0), "The photo is too uncertain to tell whether the two agree, so there is no best figure:"),
    ],
)
def test_why_there_is_no_best_is_said(photo: Quantity, title: str) -> None:
    evidence = Evidence(margin_gain_percent=9.0) if photo.u < 1 else None
    (block,) = scale_block(figures(photo, {}, evidence), BY_AREA)
    assert " ".join(block.split()).startswith(title)
    assert "best of both" not in block
    assert ("Most likely scatter beyond the margin: " in block) == (photo.u < 1)


@pytest.mark.parametrize("width", [60, 80])
def test_no_line_is_wide_and_no_word_of_statistics_is_left(width: int) -> None:
    evidence = Evidence(margin_gain_percent=9.0, wall_gone_percent=30.0, unaccounted_percent=Quantity(9.0, 0.3))
    (block,) = scale_block(figures(Quantity(90.0, 0.5), {}, evidence), BY_MASS, width)
    assert max(map(len, block.splitlines())) <= width
    for word in ("E_n", "zeta", "k = 2", "kappa", "standard uncertaint"):
        assert word not in block


def test_next_to_all_is_never_all() -> None:
    best = {"patch": BestPickup(100.0, 0.2, (99.53, 100.0))}
    (block,) = scale_block(figures(Quantity(80.4, 0.5), best), BY_AREA)
    assert "more than 99.5 %" in block


def test_nothing_weighed_nothing_said() -> None:
    assert scale_block(None, BY_AREA) == []
    alone = ScaleFigures(WEIGHING, weighed_pickup(WEIGHING), None)
    assert scale_block(alone, BY_AREA)[0].startswith("Pickup by scale: 80.0 % (79.")


def test_a_zone_that_was_not_swept_is_named() -> None:
    weighing = Weighing(WEIGHING.scale, WEIGHING.dispensed, bin=WEIGHING.bin, swept={"open": Net((3.0,))})
    scale = ScaleFigures(weighing, weighed_pickup(weighing, ("open", "edge", "corner")), None)
    (block,) = scale_block(scale, BY_AREA)
    said = " ".join(block.split())
    assert "Not swept: edge, corner. What was left there is unknown; the scale's pickup rests on the bin alone." in said


def test_the_record_holds_the_best() -> None:
    compared = agree(Quantity(80.4, 0.5), Quantity(80.0, 0.3))
    assert agreement_json(compared)["best"] is None
    best = agreement_json(compared, {"patch": BestPickup(80.123456, 0.2, (79.7, 80.5))})["best"]
    assert best == {"patch": {"percent": 80.1235, "u_percent": 0.2, "interval95": [79.7, 80.5]}}


def test_agreement_of_masses_that_do_not_fit_together_is_none_to_build_on() -> None:
    weighing = Weighing(WEIGHING.scale, WEIGHING.dispensed, bin=WEIGHING.bin, swept={"total": Net((2.8,))})
    weighed = weighed_pickup(weighing)
    assert weighed.balance.flags
    assert weighed.pickup_percent is not None
    scale = ScaleFigures(weighing, weighed, agree(Quantity(82.0, 1.0), weighed.pickup_percent))
    (block,) = scale_block(scale, BY_AREA)
    assert " ".join(block.split()).startswith(
        "Photo and scale agree, but what was weighed does not fit together, so there is no best figure: by photo"
    )


def test_the_table_has_what_the_scale_says_in_the_last_passs_rows_alone(run: Measurement) -> None:
    """What was swept up and weighed is what lies there after the last pass."""
    best = {"patch": BestPickup(80.1, 0.2, (79.7, 80.5))}
    rows = list(csv.DictReader(io.StringIO(zones_csv(replace(run, scale=figures(Quantity(80.4, 0.5), best))))))
    told = [(row["pass"], row["kind"], row["zone"]) for row in rows if row["best_percent"]]
    assert told == [("2", "all", "patch")]
