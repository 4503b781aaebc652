import tomllib

from debriscount.inputs.toml_write import toml_text

CONTENT = {
    "one": {"width_mm": 600.0, "half": 0.5, "third": 1 / 3, "none": None, "walls": ("top",), "name": 'a "b"'},
    "many": [{"id": 0, "at": [1.0, 2.5]}, {"id": 1, "at": [3.0, 4.0]}],
    "inner": {"pair": {"gross": 14.0, "tare": 10.0}, "list": [{"x": 1}]},
}


def test_what_is_written_is_read_as_the_same_but_for_what_is_none() -> None:
    read = tomllib.loads(toml_text(CONTENT, {}))
    assert read["one"] == {"width_mm": 600, "half": 0.5, "third": 1 / 3, "walls": ["top"], "name": 'a "b"'}
    assert read["many"] == CONTENT["many"]
    assert read["inner"] == {"pair": {"gross": 14, "tare": 10}, "list": [{"x": 1}]}


def test_numbers_are_written_as_a_person_does_and_the_first_of_several_tables_alone_bears_remarks() -> None:
    text = toml_text(CONTENT, {"width_mm": "from left to right", "id": "printed"}, head="by hand\ntwice", digits=4)
    assert text.startswith("# by hand\n# twice\n")
    assert "width_mm = 600 # from left to right\n" in text
    assert "third = 0.3333\n" in text
    assert text.count("# printed") == 1
