"""Cards: their size, their sameness, and that they tell of what they leave out."""

import io
from xml.etree import ElementTree as ET

import pytest
from PIL import Image

from emberline.reports import cards
from emberline.reports.cards import Shape, comparison_card, result_card
from emberline.reports.drawing import Picture
from emberline.trials.comparison.comparison import Burn, Comparison, compare, grouped
from emberline.trials.comparison.confounding import Circumstances
from unit.reports.made_up_burn import make_burn


def comparison() -> Comparison:
    values = {"8": (402.0, 411.0, 395.0), "12": (361.0, 370.0, 352.0)}
    burns = [
        Burn(
            f"{holes}-{n}",
            None,
            "yard",
            None,
            {"time_to_boil": {"value": s, "u": 1.0, "unit": "s", "budget": {}}},
            circumstances=Circumstances(int((n + 3 * (holes == "12")) * 10**13), {"holes": holes}),
            left_out="rain" if (holes, n) == ("8", 2) else None,
        )
        for holes, group in values.items()
        for n, s in enumerate(group)
    ]
    return compare(grouped(burns, ["holes"]), ["time_to_boil"], ["holes"])


@pytest.mark.parametrize(("shape", "size"), [(Shape.WIDE, (1920, 1080)), (Shape.SQUARE, (1080, 1080))])
def test_cards_have_the_size_of_their_shape(shape: Shape, size: tuple[int, int]) -> None:
    for card in (
        result_card(make_burn(), shape, Picture.PNG),
        comparison_card(comparison(), "Holes", shape, Picture.PNG),
    ):
        assert Image.open(io.BytesIO(card)).size == size


@pytest.mark.parametrize("picture", Picture)
def test_the_same_burn_gives_the_same_bytes(picture: Picture) -> None:
    assert result_card(make_burn(), Shape.WIDE, picture) == result_card(make_burn(), Shape.WIDE, picture)
    one, other = (comparison_card(comparison(), "Holes", Shape.SQUARE, picture) for _ in range(2))
    assert one == other


def test_an_svg_needs_no_font_and_no_address() -> None:
    text = result_card(make_burn(), Shape.WIDE, Picture.SVG).decode()
    root = ET.fromstring(text)  # noqa: S314 - our own picture
    assert (root.get("width"), root.get("height")) == ("1382.4pt", "777.6pt")
    assert not root.findall(".//{http://www.w3.org/2000/svg}text")


def test_a_card_says_how_many_were_left_out_and_warns(monkeypatch: pytest.MonkeyPatch) -> None:
    told: list[str] = []
    write = cards._Card._text

    def noted(card: cards._Card, x: float, y: float, words: str, size_pt: float, **style: object) -> None:
        told.append(words)
        write(card, x, y, words, size_pt, **style)

    monkeypatch.setattr(cards._Card, "_text", noted)
    comparison_card(comparison(), "Holes", Shape.WIDE, Picture.PNG)
    words = " ".join(told).replace("\N{NO-BREAK SPACE}", " ")
    assert "5 burns, 1 left out" in words
    assert "All burns of holes 8 came before all of holes 12" in words
    assert "Caution: carbon monoxide" in words
    assert "holes 12 boils 46 s sooner than holes 8" in words


def test_a_burn_without_curves_still_has_its_card() -> None:
    card = result_card(make_burn(mass=False), Shape.SQUARE, Picture.PNG)
    assert Image.open(io.BytesIO(card)).size == (1080, 1080)
