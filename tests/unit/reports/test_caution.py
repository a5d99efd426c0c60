from emberline.reports.caution import CAUTION_CLOSE, CAUTION_LINE, CAUTION_POINTS, CAUTION_TITLE


def test_every_hazard_is_named() -> None:
    whole = " ".join((CAUTION_TITLE, *CAUTION_POINTS, CAUTION_CLOSE)).lower()
    for hazard in (
        "carbon monoxide",
        "starter",
        "scald",
        "rekindle",
        "never leave a lit stove alone",
        "local fire rules",
    ):
        assert hazard in whole
    assert "no certification" in whole


def test_the_line_fits_a_terminal_and_names_the_worst() -> None:
    assert len(CAUTION_LINE) < 240
    for hazard in ("carbon monoxide", "fire", "scalds", "hot char", "no certification"):
        assert hazard in CAUTION_LINE.lower()
