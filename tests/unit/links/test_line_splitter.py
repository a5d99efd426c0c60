from emberline.links.line_splitter import LineSplitter
from emberline.links.text_line import MAX_LINE_BYTES


def started() -> LineSplitter:
    splitter = LineSplitter()
    assert splitter.feed(b"e rest of a line\n") == []
    return splitter


def test_lines_end_with_either_or_both_and_empty_ones_are_nothing() -> None:
    assert [line for line, _ in started().feed(b"1\n2\r\n3\r\r\n\n4\n5")] == [b"1", b"2", b"3", b"4"]


def test_it_is_told_how_many_bytes_came_after_a_line() -> None:
    assert started().feed(b"12\r\n345\n6") == [(b"12", 6), (b"345", 1)]


def test_pieces_make_the_same_lines() -> None:
    text = b"1,2\r\n3,4\r\n" + b"x" * 600 + b"\n5\n"
    whole = [line for line, _ in started().feed(text)]
    bytewise = started()
    assert [line for byte in text for line, _ in bytewise.feed(bytes([byte]))] == whole
    assert whole == [b"1,2", b"3,4", b"x" * (MAX_LINE_BYTES + 1), b"5"]


def test_noise_without_an_end_takes_no_memory() -> None:
    splitter = started()
    cut = [line for _ in range(1000) for line, _ in splitter.feed(b"\xff" * 1000)]
    assert len(cut) == 1
    assert splitter.held <= MAX_LINE_BYTES
    assert [line for line, _ in splitter.feed(b"\n1\n")] == [b"1"]


def test_after_a_new_beginning_the_rest_of_a_line_is_left_out() -> None:
    splitter = started()
    splitter.feed(b"12345")
    splitter.begin()
    assert splitter.feed(b"6\n7\n") == [(b"7", 0)]
