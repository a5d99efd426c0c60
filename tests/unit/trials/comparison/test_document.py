"""The document of a comparison."""

import json

from emberline.trials.comparison.comparison import Burn, compare, grouped
from emberline.trials.comparison.confounding import Circumstances
from emberline.trials.comparison.document import COMPARISON_SCHEMA, comparison_document


def burn(trial: str, fill_mm: int, boil_s: float | None, left_out: str | None = None) -> Burn:
    results = {} if boil_s is None else {"time_to_boil": {"value": boil_s, "u": 1.0, "unit": "s", "budget": {}}}
    return Burn(trial, None, "yard", None, results, {}, Circumstances(None, {"fill": f"{fill_mm} mm"}), left_out)


def test_it_is_plain_json_and_tells_of_every_burn() -> None:
    burns = [
        burn("1", 40, 410.0),
        burn("2", 40, 404.0),
        burn("3", 60, 380.0),
        burn("4", 60, 377.0),
        burn("5", 80, None),
    ]
    burns += [burn("6", 80, 365.0), burn("7", 80, 500.0, "rain")]
    document = comparison_document(compare(grouped(burns, ["fill"]), ["time_to_boil"], ["fill"]))
    assert json.loads(json.dumps(document, allow_nan=False)) == document
    assert document["schema"] == COMPARISON_SCHEMA
    assert document["groups"]["fill 80 mm"] == ["5", "6"]
    assert document["left_out"] == {"7": "rain"}
    boil = document["results"]["time_to_boil"]
    assert boil["groups"]["fill 40 mm"]["values"] == {"1": 410.0, "2": 404.0}
    assert boil["groups"]["fill 80 mm"]["sd"] is None
    assert boil["groups"]["fill 80 mm"]["absent"] == {"5": "it was not worked out"}
    assert [(one["a"], one["b"]) for one in boil["differences"]] == [("fill 40 mm", "fill 60 mm")]
    assert boil["trend"]["n"] == 5
