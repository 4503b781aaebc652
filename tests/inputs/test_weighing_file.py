from dataclasses import replace
from hashlib import sha256
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from debriscount.errors import InputFileError
from debriscount.inputs.weighing import G_PER_UNIT, Net, Scale, Weighing
from debriscount.inputs.weighing_file import read_weighing
from debriscount.inputs.weighing_write import weighing_toml

TEXT = """\
[scale]
readability_g = 0.1
repeatability_g = 0.12
[dispensed]
full_g = [152.3, 152.4]
empty_g = 102.3
[bin]
before_g = [310.2]
after_g = [351.9]
[swept]
open_g = 3.1
edge_g = {gross = [14.0, 14.1], tare = 10}
[elsewhere]
brush_g = 0.4
"""
MORE = """\
hair_g = 1
"""
OUNCES = """\
[scale]
kind = "kitchen"
[dispensed]
full_oz = 5.37
empty_oz = 3.6
"""


def written(folder: Path, old: str = "", new: str = "", more: str = "", text: str = TEXT) -> Path:
    assert old in text
    file = folder / "weighing.toml"
    file.write_text(text.replace(old, new, 1) + more)
    return file


def test_every_key_reaches_the_weighing(tmp_path: Path) -> None:
    file = written(tmp_path, more=MORE)
    weighing = read_weighing(file)
    assert weighing == Weighing(
        Scale(0.1, 0.12),
        Net((152.3, 152.4), (102.3,)),
        bin=Net((351.9,), (310.2,)),
        swept={"open": Net((3.1,)), "edge": Net((14.0, 14.1), (10.0,))},
        elsewhere={"brush": Net((0.4,)), "hair": Net((1.0,))},
        file=str(file),
        sha256=sha256(file.read_bytes()).hexdigest(),
    )
    assert weighing.swept["edge"].mass_g == pytest.approx(4.05)
    assert list(weighing.nets) == ["dispensed", "bin", "swept open", "swept edge", "brush", "hair"]


def test_the_rarer_keys_reach_it_too(tmp_path: Path) -> None:
    text = """\
    unit = "g"
    [scale]
    readability_g = 0.01
    linearity_g = 0.02
    capacity_g = 600
    sensitivity_percent = 0.1
    [dispensed]
    portion_g = 50.02
    left_in_cup_g = 0.11
    usual_empty_g = [20.01, 20.02]
    [bin]
    emptied_g = {gross = 31.5, tare = 10.25}
    usual_before_g = 300
    [swept]
    total_g = 8.5
    """
    weighing = read_weighing(written(tmp_path, text=text))
    assert weighing.scale == Scale(0.01, None, 0.02, 600, 0.1)
    assert (weighing.dispensed, weighing.left_in_cup) == (Net((50.02,)), Net((0.11,)))
    assert (weighing.usual_cup_g, weighing.usual_bin_g) == ((20.01, 20.02), (300,))
    assert (weighing.bin, weighing.emptied) == (None, Net((31.5,), (10.25,)))
    assert weighing.swept == {"total": Net((8.5,))}


def test_what_stayed_in_the_cup_may_stand_elsewhere(tmp_path: Path) -> None:
    weighing = read_weighing(written(tmp_path, more="cup_g = 0.2\n"))
    assert weighing.left_in_cup == Net((0.2,))
    assert set(weighing.elsewhere) == {"brush"}


@pytest.mark.parametrize(("full", "expected"), [("152", 1.0), ("152.0", 1.0), ("[152.3, 152.25]", 0.01)])
def test_readability_left_out_is_the_last_place_that_any_reading_uses(
    tmp_path: Path, full: str, expected: float
) -> None:
    text = f'[scale]\nkind = "kitchen"\n[dispensed]\nfull_g = {full}\nempty_g = 102\n[bin]\nemptied_g = 40\n'
    assert read_weighing(written(tmp_path, text=text)).scale == Scale(pytest.approx(expected))  # type: ignore[arg-type]


@pytest.mark.parametrize("place", ["", "top", "scale"])
def test_ounces_are_converted(tmp_path: Path, place: str) -> None:
    text = {"": OUNCES, "top": f'unit = "oz"\n{OUNCES}', "scale": OUNCES.replace("[d", 'unit = "oz"\n[d')}[place]
    weighing = read_weighing(written(tmp_path, text=text))
    # Published: NIST Handbook 44, appendix C: 1 oz is 28.349523125 g exactly.
    assert weighing.dispensed.mass_g == pytest.approx(1.77 * 28.349523125, rel=1e-12)
    assert weighing.scale.readability_g == pytest.approx(0.01 * 28.349523125)
    assert weighing.unit == "oz"


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("readability_g", "readability", r'line 2: \[scale\] readability is unknown\. Did you mean "readability_g"\?'),
        ("0.12", "-1", r"line 3: \[scale\] repeatability_g must be at least 0, got -1\. Give the standard"),
        ("= 0.1\n", "= 0\n", r"line 2: \[scale\] readability_g must be greater than 0, got 0\. Give the smallest step"),
        ("[scale]", '[scale]\nkind = "shop"', r'line 2: \[scale\] kind has the wrong form, got "shop"\. Give "kitchen"'),
        ("[scale]", '[scale]\nunit = "lb"', r'line 2: \[scale\] unit has the wrong form, got "lb"\. Give "g" or "oz"'),
        ("[scale]", 'unit = ["g"]\n[scale]', r"line 1: unit must be text in quotes"),
        ("[scale]\n", 'unit = "g"\n[scale]\nunit = "oz"\n', r"line 3: \[scale\] unit differs from the unit at the top"),
        (
            "brush_g",
            "brush_oz",
            r"line 2: \[scale\] readability_g is in g, but the file's unit is oz\. Write readability_oz",
        ),
        ("full_g", 'full_oz', r"line 2: \[scale\] readability_g is in g, but .* Write readability_oz, with the"),
        ("[152.3, 152.4]", "[]", r"line 5: \[dispensed\] full_g must be a reading such as 3\.1, repeats .*, got \[\]\."),
        ("152.4", '"152"', r'line 5: \[dispensed\] full_g must be a reading .* got "152"\. Give the cup with the portion'),
        ("152.4", "true", r"line 5: \[dispensed\] full_g must be a reading .* got true\."),
        ("152.4", "inf", r"line 5: \[dispensed\] full_g must be a reading .* got inf\."),
        ("152.4", "-2", r"line 5: \[dispensed\] full_g must be from 0 to 100000 g, got -2\. Give the cup with"),
        ("152.4", "1e6", r"line 5: \[dispensed\] full_g must be from 0 to 100000 g, got 1000000\.0\."),
        ("102.3", "{gross = 1, tare = 2}", r"line 6: \[dispensed\] empty_g must be a reading such as 3\.1, repeats such as \[3\.1, 3\.2\], got"),
        ("102.3", "160", r"line 5: \[dispensed\] full_g leaves nothing that was scattered\. Give a cup that is heavier"),
        ("empty_g = 102.3\n", "", r"line 4: \[dispensed\] lacks full_g and empty_g, or portion_g\."),
        ("empty_g", "portion_g = 50\nempty_g", r"line 6: \[dispensed\] portion_g stands beside readings of the cup\."),
        ("[dispensed]", "[dispensed]\nleft_in_cup_g = 51", r"\[dispensed\] left_in_cup_g leaves nothing that was scattered"),
        ("after_g", "usual_before_g", r"line 8: \[bin\] has before_g but lacks after_g\. Give the machine's bin after"),
        ("before_g = [310.2]\nafter_g", "usual_before_g", r"line 7: \[bin\] lacks before_g and after_g, or emptied_g\."),
        ("tare", "tara", r"line 12: \[swept\] edge_g must be a reading such as 3\.1, repeats .* or a pair \{gross = 53\.1, tare = 50\}, got"),
        ("tare = 10", "tare = -1", r"line 12: \[swept\] edge_g\.tare must be from 0 to 100000 g, got -1\. Give what was swept"),
        ("open_g", "total_g", r"line 11: \[swept\] total_g stands beside zones\. Give either the zones or the total\."),
        ("open_g", "opne_g", r'line 11: \[swept\] opne_g is unknown\. Did you mean "open_g"\?'),
        ("[elsewhere]", "[scatter]", r'line 13: scatter is unknown\. Known are|line 13: scatter is unknown\. Did'),
        (TEXT[TEXT.index("[swept]"):], "[dispensed.x]\n", r"\[dispensed\] x is unknown"),
        (TEXT[: TEXT.index("[dispensed]")], "", r'the file lacks \[scale\]\. Describe the scale under \[scale\]; kind = "kitchen"'),
        (TEXT[TEXT.index("[dispensed]"):], "", r"the file lacks \[dispensed\]\. Say under \[dispensed\] what was scattered"),
    ],
)  # fmt: skip
def test_a_fault_is_named_with_line_value_and_advice(tmp_path: Path, old: str, new: str, message: str) -> None:
    with pytest.raises(InputFileError, match=message):
        read_weighing(written(tmp_path, old, new))


def test_what_stayed_in_the_cup_is_given_once(tmp_path: Path) -> None:
    file = written(tmp_path, "[dispensed]", "[dispensed]\nleft_in_cup_g = 0.1", more="cup_g = 0.2\n")
    with pytest.raises(InputFileError, match=r"line 16: \[elsewhere\] cup_g is \[dispensed\] left_in_cup_g once more"):
        read_weighing(file)


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(InputFileError, match=r"none\.toml: there is no such file\. Give the path of the weighing file"):
        read_weighing(tmp_path / "none.toml")


readings = st.lists(st.integers(0, 99_999).map(lambda n: n / 100), min_size=1, max_size=3).map(tuple)
nets = st.builds(Net, readings, st.one_of(st.just(()), readings))
maybe = st.one_of(st.none(), nets)
weighings = st.builds(
    Weighing,
    scale=st.builds(
        Scale,
        st.sampled_from([0.01, 0.1, 1.0]),
        st.sampled_from([None, 0.0, 0.2]),
        st.sampled_from([None, 0.5]),
        st.sampled_from([None, 3000.0]),
        st.sampled_from([0.0, 0.2]),
    ),
    dispensed=st.builds(lambda net, more: Net(tuple(round(g + 2000, 2) for g in net.gross_g), more), nets, nets.map(lambda n: n.tare_g)),
    left_in_cup=st.one_of(st.none(), st.just(Net((0.25,)))),
    usual_cup_g=st.one_of(st.just(()), readings),
    bin=st.one_of(st.none(), st.builds(Net, readings, readings)),
    emptied=maybe,
    swept=st.one_of(
        st.dictionaries(st.sampled_from(["open", "edge", "corner", "margin"]), nets), st.just({"total": Net((1.0,))})
    ),
    elsewhere=st.dictionaries(st.sampled_from(["brush", "filter", "wheels", "hair"]), nets),
)  # fmt: skip


@given(weighing=weighings)
def test_what_is_written_is_read_as_the_same(tmp_path_factory: pytest.TempPathFactory, weighing: Weighing) -> None:
    file = tmp_path_factory.mktemp("weighing") / "weighing.toml"
    file.write_text(weighing_toml(weighing), encoding="utf-8")
    assert replace(read_weighing(file), file="", sha256="") == weighing


def test_ounces_are_written_as_they_were_read(tmp_path: Path) -> None:
    ounce = G_PER_UNIT["oz"]
    weighing = Weighing(Scale(0.01 * ounce), Net((5.37 * ounce,), (3.6 * ounce,)), unit="oz")
    text = weighing_toml(weighing)
    assert "full_oz = 5.37 # cup with the portion\nempty_oz = 3.6 " in text
    assert 'unit = "oz"' in text
    file = tmp_path / "weighing.toml"
    file.write_text(text)
    assert read_weighing(file).dispensed.mass_g == pytest.approx(weighing.dispensed.mass_g, rel=1e-12)
