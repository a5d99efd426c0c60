import xml.etree.ElementTree as ET

import matplotlib as mpl
from matplotlib.figure import Figure

from emberline.reports.svg import inline_svg


def drawn(key: str = "a") -> str:
    with mpl.rc_context({"svg.fonttype": "none", "svg.hashsalt": "test"}):
        figure = Figure(figsize=(3, 2))
        ax = figure.add_axes((0.1, 0.1, 0.8, 0.8))
        ax.plot([0.0, 1.0, 2.0], [1.0 / 3.0, -2.0 / 3.0, 0.5])
        ax.set_title("a < b")
        return inline_svg(figure, key=key, title="Curves of <b>", description='what "it" shows & says')


def parsed(svg: str) -> ET.Element:
    return ET.fromstring(svg)  # noqa: S314 - our own markup


def test_it_is_one_well_formed_element_with_a_name_and_a_description() -> None:
    root = parsed(drawn())
    assert root.tag == "svg"
    assert root.get("role") == "img"
    assert root.get("aria-labelledby") == "a-title a-desc"
    assert root.get("viewBox")
    assert [child.tag for child in root[:2]] == ["title", "desc"]
    assert root[0].text == "Curves of <b>"
    assert root[1].text == 'what "it" shows & says'
    assert "a < b" in ["".join(text.itertext()) for text in root.iter("text")]


def test_nothing_points_outside() -> None:
    text = drawn()
    assert "://" not in text
    assert "xmlns" not in text
    assert "<metadata" not in text
    assert "<!--" not in text


def test_all_ids_and_references_carry_the_key() -> None:
    root = parsed(drawn("left"))
    ids = [element.get("id") for element in root.iter() if element.get("id")]
    assert ids
    assert all(name is not None and name.startswith("left-") for name in ids)
    assert len(ids) == len(set(ids))
    for element in root.iter():
        if element.get("href"):
            assert str(element.get("href"))[1:] in ids
        if element.get("clip-path"):
            assert str(element.get("clip-path"))[5:-1] in ids


def test_the_same_figure_gives_the_same_bytes() -> None:
    assert drawn() == drawn()


def test_coordinates_keep_two_decimals() -> None:
    paths = [str(path.get("d")) for path in parsed(drawn()).iter("path")]
    numbers = [word for path in paths for word in path.split() if "." in word]
    assert numbers
    assert all(len(number.partition(".")[2]) <= 2 for number in numbers)
