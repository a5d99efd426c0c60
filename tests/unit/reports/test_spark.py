"""The small curve."""

from emberline.reports.spark import HEIGHT, WIDTH, spark_path


def test_it_runs_from_edge_to_edge_on_the_lists_scale() -> None:
    assert (
        spark_path([0.0, 5.0, 10.0], 10.0)
        == f"M0.0 {HEIGHT - 1:.1f} L{WIDTH / 2:.1f} {HEIGHT / 2:.1f} L{WIDTH:.1f} 1.0"
    )


def test_what_is_not_known_is_a_gap() -> None:
    assert spark_path([1.0, 2.0, None, 2.0, 1.0], 10.0).count("M") == 2


def test_what_is_beyond_the_scale_stays_at_its_edge() -> None:
    assert spark_path([-5.0, 50.0], 10.0) == f"M0.0 {HEIGHT - 1:.1f} L{WIDTH:.1f} 1.0"


def test_without_two_points_in_a_row_there_is_none() -> None:
    assert spark_path([], 10.0) == spark_path([None, None], 10.0) == spark_path([3.0], 10.0) == ""
