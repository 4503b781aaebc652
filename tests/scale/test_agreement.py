import math
from dataclasses import FrozenInstanceError

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from debriscount.pickup.trust import WIDEST
from debriscount.scale.agreement import MOST_EXPANDED, agree, en_score, zeta_score
from debriscount.scale.fault_patterns import Evidence
from debriscount.stats.quantity import Quantity

percents = st.floats(-50, 150)
uncertainties = st.floats(0.01, 20)


def test_a_run_that_agrees_says_so_with_expanded_uncertainties() -> None:
    found = agree(Quantity(83.4, 0.45), Quantity(82.9, 0.2), Evidence(margin_gain_percent=5))
    assert found.sentence == "photo 83.40 ± 0.90 %, scale 82.90 ± 0.40 %: they agree"
    assert (found.verdict, found.causes) == ("agree", ())
    assert found.zeta == pytest.approx(0.5 / math.hypot(0.45, 0.2))
    assert found.en == pytest.approx(0.5 / math.hypot(0.9, 0.4))


def test_a_run_that_does_not_agree_names_the_likeliest_cause() -> None:
    found = agree(Quantity(88.0, 0.45), Quantity(82.9, 0.2), Evidence(margin_gain_percent=6.0, wall_gone_percent=0.0))
    assert found.verdict == "disagree"
    assert found.sentence == (
        "photo 88.00 ± 0.90 %, scale 82.90 ± 0.40 %: they disagree by 5.10 points, where 0.98 may be chance; "
        "most likely scatter beyond the margin: 5.1 % of the portion was flung beyond the margin, where the photo takes "
        "it for picked up (the margin gained 6.0 %)"
    )
    assert found.causes[0].name == "scatter beyond the margin"
    assert "grains under furniture or wall" not in {cause.name for cause in found.causes}


def test_a_doubtful_run_is_neither() -> None:
    found = agree(Quantity(84.2, 0.45), Quantity(82.9, 0.2))
    assert found.verdict == "doubtful"
    assert found.sentence.endswith(
        "it is doubtful whether they agree, they differ by 1.30 points, where 0.98 may be chance"
    )
    assert found.causes == ()


def test_what_may_be_off_by_anything_does_not_agree() -> None:
    found = agree(Quantity(83.0, 0.5), Quantity(80.0, 8.5))
    assert (found.verdict, found.causes) == ("too uncertain", ())
    assert found.sentence == (
        "photo 83.0 ± 1.0 %, scale 80 ± 17 %: too uncertain to tell whether they agree, since by chance alone they "
        "may differ by 17 points, most of it by the scale"
    )
    assert "most of it by the photo" in agree(Quantity(83.0, 8.5), Quantity(80.0, 0.5)).sentence


def test_the_limit_is_where_a_worthless_photo_is_found_out() -> None:
    """At the largest uncertainty that may agree, a photo off by 15 points disagrees in 97.7 % (normal beyond 3 - 5)."""
    u = MOST_EXPANDED / 2
    rng = np.random.default_rng(4)
    words = [agree(Quantity(rng.normal(70 + WIDEST, u), u), Quantity(70.0, 0.0)).verdict for _ in range(2000)]
    assert words.count("disagree") / 2000 == pytest.approx(0.977, abs=0.012)


def test_a_cause_may_be_named_even_where_the_scale_is_too_uncertain() -> None:
    evidence = Evidence(exchanged=("x and y seem to be exchanged",), balance_doubted=True)
    found = agree(Quantity(83, 0.5), Quantity(40, 40.0), evidence)
    assert agree(Quantity(83, 0.5), Quantity(40, 40.0), Evidence(exchanged=evidence.exchanged)).causes == ()
    assert found.causes[0].name == "exchanged readings"
    assert found.sentence.endswith("most likely exchanged readings: x and y seem to be exchanged")


def test_small_uncertainties_keep_a_digit() -> None:
    assert agree(Quantity(83.41, 0.02), Quantity(83.4, 0.001)).sentence.startswith(
        "photo 83.410 ± 0.040 %, scale 83.4000 ± 0.0020 %"
    )


def test_no_score_without_uncertainty() -> None:
    with pytest.raises(ValueError, match="must not be negative nor both 0, got 0"):
        agree(Quantity(83, 0.0), Quantity(82, 0.0))


def test_the_record_cannot_be_changed() -> None:
    found = agree(Quantity(83, 0.1), Quantity(82, 0.1))
    with pytest.raises(FrozenInstanceError):
        found.zeta = 0.0  # type: ignore[misc]


@given(percents, percents, uncertainties, uncertainties)
def test_scores_change_sign_with_sides_and_en_is_half_of_zeta(a: float, b: float, u_a: float, u_b: float) -> None:
    zeta = zeta_score(a, b, u_a, u_b)
    assert zeta == -zeta_score(b, a, u_b, u_a)
    assert en_score(a, b, 2 * u_a, 2 * u_b) == pytest.approx(zeta / 2, rel=1e-12, abs=1e-300)
    close, told = abs(zeta) <= 2, 2 * math.hypot(u_a, u_b) <= MOST_EXPANDED
    word = agree(Quantity(a, u_a), Quantity(b, u_b)).verdict
    assert (word in ("agree", "too uncertain")) == close
    assert (word == "agree") == (close and told)


def test_runs_without_a_fault_agree_as_often_as_k_2_says() -> None:
    """2 000 simulated weighings: 95.4 % within k = 2 of a normal distribution; asked for are 93 to 97.5 %."""
    rng = np.random.default_rng(11)
    within = 0
    for truth in rng.uniform(60, 99, 2000):
        photo, scale = Quantity(rng.normal(truth, 0.5), 0.5), Quantity(rng.normal(truth, 0.3), 0.3)
        within += abs(agree(photo, scale).en) <= 1
    assert 0.93 <= within / 2000 <= 0.975


def test_a_fault_of_five_standard_uncertainties_is_flagged() -> None:
    rng = np.random.default_rng(12)
    fault = 5 * math.hypot(0.5, 0.3)
    verdicts = [
        agree(Quantity(rng.normal(85 + fault, 0.5), 0.5), Quantity(rng.normal(85, 0.3), 0.3)).verdict
        for _ in range(500)
    ]
    assert 1 - verdicts.count("agree") / 500 >= 0.9
