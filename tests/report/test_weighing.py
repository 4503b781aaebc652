import json
from dataclasses import replace

from debriscount import __version__
from debriscount.inputs.weighing import Net, Scale, Weighing
from debriscount.report.weighing import weighing_record, weighing_text

RUN = Weighing(
    Scale(0.1, 0.1),
    Net((152.3,), (102.3,)),
    bin=Net((351.9,), (310.2,)),
    swept={"open": Net((3.1,)), "edge": Net((5.1,))},
    elsewhere={"brush": Net((0.4,))},
    file="weighing.toml",
    sha256="abc",
)


def test_the_record_is_plain_json_with_units_in_its_names() -> None:
    record = json.loads(json.dumps(weighing_record(RUN), allow_nan=False))
    assert (record["format"], record["version"]) == ("debriscount/weighing/1", __version__)
    assert (record["file"], record["sha256"]) == ("weighing.toml", "abc")
    assert record["scale"] == {"readability_g": 0.1, "repeatability_g": 0.1, "linearity_g": None, "kitchen": True}
    assert record["balance"]["dispensed_g"]["value"] == 50.0
    assert record["balance"]["dispensed_g"]["dof"] is None
    low, high = record["balance"]["dispensed_g"]["interval95"]
    assert low < 50 < high
    assert record["balance"]["closed"] is True
    assert record["balance"]["left_in_cup_g"] is None
    assert record["zones"]["edge"]["swept_g"]["value"] == 5.1
    assert record["elsewhere"]["brush"]["mass_g"]["value"] == 0.4
    assert record["by_residue_percent"]["value"] == 83.6
    assert record["by_collection_percent"]["value"] == 84.2
    assert 83.6 < record["pickup_percent"]["value"] < 84.2
    assert (record["hair"], record["flags"]) == (None, [])


def test_what_was_not_weighed_is_null() -> None:
    record = weighing_record(Weighing(Scale(1.0), Net((52.0,), (2.0,))))
    assert record["balance"]["bin_g"] is None
    assert record["pickup_percent"] is None
    assert record["balance"]["dispensed_g"]["dof"] > 2


def test_flags_and_hair_are_in_the_record() -> None:
    record = weighing_record(
        replace(RUN, elsewhere={"hair": Net((3.0,))}, bin=Net((311.2,), (310.2,)), swept={"total": Net((1.0,))})
    )
    assert record["hair"]["wrap_percent"]["value"] == 75.0
    assert record["flags"][0]["kind"] == "unaccounted"
    assert record["flags"][0]["excess_g"]["value"] == 45.0
    assert record["flags"][0]["probability"] < 1e-6


def test_text_for_people() -> None:
    """Independent: the three percentages were worked out by hand from u = d/√12 a reading and d/4/√3 a zero."""
    run = replace(RUN, scale=Scale(0.1, 0.0, 0.0), swept={"open": Net((3.1,)), "edge": Net((4.9,))})
    assert weighing_text(run) == (
        "dispensed                  50.000 ± 0.080 g\n"
        "bin                        41.700 ± 0.080 g\n"
        "brush                       0.400 ± 0.063 g\n"
        "swept up, open              3.100 ± 0.063 g\n"
        "swept up, edge              4.900 ± 0.063 g\n"
        "unaccounted for              -0.10 ± 0.16 g\n"
        "pickup by scale              84.07 ± 0.14 %\n"
        "  from what was collected    84.20 ± 0.24 %\n"
        "  from what was left         84.00 ± 0.18 %\n"
    )


def test_text_says_what_is_doubtful_and_what_is_missing() -> None:
    alone = weighing_text(Weighing(Scale(1.0), Net((52.0,), (2.0,)), usual_cup_g=(200.0,), left_in_cup=Net((1.0,))))
    assert "left in the cup" in alone
    assert "pickup by scale  unknown: weigh the bin or what is left\n" in alone
    assert "Warning: the cup is 198.0 ± " in alone
    hair = weighing_text(replace(RUN, elsewhere={"hair": Net((3.0,))}, swept={}))
    assert "hair cut off" in hair
    assert "left or unaccounted for" in hair
    assert "hair on the brush" in hair
    assert "  of all hair picked up" in hair
    assert "hair left" not in hair
