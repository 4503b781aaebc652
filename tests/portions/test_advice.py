from collections.abc import Callable

from debriscount.portions.advice import WORTH, fit_warnings, next_portions
from debriscount.portions.fit import fit_area_mass, read_off
from debriscount.portions.records import WeighedPortion

Make = Callable[..., WeighedPortion]
Size = tuple[float, float]


def test_a_light_portion_alone_wants_a_heavy_one(make_portion: Make, size_mm: Size) -> None:
    portions = [make_portion(2, u_g=0.04)]
    area = fit_area_mass(portions, size_mm)
    (first,) = [a for a in next_portions(area, portions, 20.0, size_mm) if "crowding" not in a.sentence][:1]
    assert first.what == "of about 4 g, laid as before"
    assert first.sentence.startswith("another portion of about 4 g, laid as before, would bring the 95 % interval of a")
    assert first.then < (1 - WORTH) * first.now


def test_the_advice_holds_what_it_promises(make_portion: Make, size_mm: Size) -> None:
    """The portion that was asked for, once there, makes the interval what was said."""
    portions = [make_portion(2), make_portion(3)]
    area = fit_area_mass(portions, size_mm)
    advice = next_portions(area, portions, 20.0, size_mm)[0]
    assert read_off(area, portions, 20.0, size_mm).expanded95 == advice.now
    more = [*portions, make_portion(6)]
    found = read_off(fit_area_mass(more, size_mm), more, 20.0, size_mm).expanded95
    assert abs(found / advice.then - 1) < 0.02


def test_enough_portions_want_no_more(make_portion: Make, size_mm: Size) -> None:
    portions = [make_portion(m, cover=c) for m in (10, 20, 40, 40) for c in (0.03, 0.15, 0.3)]
    assert next_portions(fit_area_mass(portions, size_mm), portions, 20.0, size_mm) == ()


def test_portions_of_one_density_want_a_denser_one(make_portion: Make, size_mm: Size) -> None:
    portions = [make_portion(m) for m in (10, 20, 40, 40, 40, 40)]
    advice = next_portions(fit_area_mass(portions, size_mm), portions, 20.0, size_mm)
    assert [a.what for a in advice] == ["the heaviest, laid 2 times as dense"]
    assert "portions lie at 5 to 5 % cover, which says next to nothing of crowding" in advice[0].sentence


def test_crowding_known_badly_wants_a_denser_one(make_portion: Make, size_mm: Size) -> None:
    portions = [make_portion(20, cover=c, kappa=0.8) for c in (0.1, 0.1, 0.3)]
    advice = next_portions(fit_area_mass(portions, size_mm), portions, 20.0, size_mm)
    assert any("would bring crowding's 95 % interval from" in a.sentence for a in advice)


def test_what_speaks_against_the_fit_is_said(make_portion: Make, size_mm: Size) -> None:
    def said(*portions: WeighedPortion) -> str:
        return "\n".join(fit_warnings(fit_area_mass(portions, size_mm), portions))

    assert "one portion shows no scatter" in said(make_portion(10))
    assert said(*(make_portion(m) for m in (10, 20, 40))) == ""
    wrong = said(*(make_portion(m, factor=f) for m, f in ((10, 1), (20, 1), (40, 1.15))))
    assert "mass is not in proportion to area (lack of fit: p = " in wrong
    assert "times what scale and photos account for" in wrong
    tare = said(*(make_portion(m, factor=(m - 2) / m) for m in (5.0, 10, 20, 40)))
    assert "the line through the portions misses the origin by +2 ±" in tare
    alone = said(*(make_portion(m, u_g=1.0) for m in (1, 1, 1, 1, 40)))
    assert "the line rests on the portion of 40 g alone" in alone
