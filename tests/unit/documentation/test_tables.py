from documentation.tables import code, table


def test_a_table_has_a_line_a_row_and_keeps_its_columns() -> None:
    made = table(["key", "meaning"], [["a", "one\nor | two"], [code(""), "b"]])
    assert made == "| key | meaning |\n| --- | --- |\n| a | one or \\| two |\n|  | b |\n"
