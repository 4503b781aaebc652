from debriscount.columns import TABLE_WIDTH, aligned, wrapped


def test_a_number_keeps_its_unit_where_lines_break() -> None:
    for start in range(60, 100):
        lines = wrapped("x" * start + " 12 mm and 5.0 % (4 to 6 %) of 94 cm² more", "  ").split("\n")
        assert all(len(line) <= TABLE_WIDTH for line in lines)
        assert not any(line.strip().startswith(("mm", "%", "cm²")) for line in lines)
        assert " ".join(line.strip() for line in lines).endswith("12 mm and 5.0 % (4 to 6 %) of 94 cm² more")


def test_columns_are_as_wide_as_their_widest_cell_and_names_are_cut_to_the_room() -> None:
    assert aligned([["zone", "g"], ["patch", "12.5"], ["open", "3"]]) == ["zone      g", "patch  12.5", "open      3"]
    long = aligned([["a name that is longer than the line", "1.0"]], 20)
    assert long == ["a name that ...  1.0"]


def test_headings_take_several_lines_where_the_table_is_too_wide() -> None:
    rows = [["portion", "off the line %", "g"], ["before.jpg", "+0.3", "22.2"]]
    assert aligned(rows) == ["portion     off the line %     g", "before.jpg            +0.3  22.2"]
    assert aligned(rows, 25) == [
        "             off",
        "             the",
        "            line",
        "portion        %     g",
        "before.jpg  +0.3  22.2",
    ]


def test_what_spoils_a_line_is_seen_but_does_not_act() -> None:
    assert "\x1b" not in aligned([["a\x1b[31m", "1"]])[0]
    assert wrapped("one\ntwo\x07", "") == "one two\N{REPLACEMENT CHARACTER}"
