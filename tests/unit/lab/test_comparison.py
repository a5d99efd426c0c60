from pathlib import Path

from emberline import lab
from emberline.trials.comparison.document import COMPARISON_SCHEMA


def test_a_comparison_is_a_document_and_a_figure(data: Path) -> None:
    compared = lab.open_store(data).compare(["fuel"], results=["burn_time", "thermal_efficiency"])
    assert compared.document["schema"] == COMPARISON_SCHEMA
    assert list(compared.document["results"]) == ["burn_time", "thermal_efficiency"]
    assert [ax.get_title(loc="left") for ax in compared.figure(narrow=True).axes] == [
        "Burn time (s)",
        "Thermal efficiency (%)",
    ]
