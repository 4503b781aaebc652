from debriscount.columns import TABLE_WIDTH, wrapped


def test_a_number_keeps_its_unit_where_lines_break() -> None:
    for start in range(60, 100):
        lines = wrapped("x" * start + " 12 mm and 5.0 % (4 to 6 %) of 94 cm² more", "  ").split("\n")
        assert all(len(line) <= TABLE_WIDTH for line in lines)
        assert not any(line.strip().startswith(("mm", "%", "cm²")) for line in lines)
        assert " ".join(line.strip() for line in lines).endswith("12 mm and 5.0 % (4 to 6 %) of 94 cm² more")
