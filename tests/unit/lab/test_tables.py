import numpy as np

from emberline.lab.tables import events_table, flags, numbers, results_table, texts


def test_what_is_not_known_is_nan_or_an_empty_text() -> None:
    np.testing.assert_array_equal(numbers([1.5, None]), [1.5, np.nan])
    assert texts(["a", None]).tolist() == ["a", ""]
    assert texts(["a", None]).dtype == object
    assert flags([True, False]).tolist() == [True, False]


def test_no_rows_give_columns_without_rows() -> None:
    assert {len(column) for column in events_table([]).values()} == {0}
    assert {len(column) for column in results_table([], ["burn_time"]).values()} == {0}


def test_each_result_has_its_value_and_its_uncertainty() -> None:
    table = results_table([{"results": {"burn_time": {"value": 900.0, "u": 6.0}}}, {"results": {}}], ["burn_time"])
    np.testing.assert_array_equal(table["burn_time"], [900.0, np.nan])
    np.testing.assert_array_equal(table["u_burn_time"], [6.0, np.nan])
