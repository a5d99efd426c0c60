from emberline.reports.methods import method_notes
from unit.reports.made_up_burn import make_burn


def test_notes_bear_on_what_the_trial_has() -> None:
    whole = " ".join(method_notes(make_burn()))
    for standard in ("JCGM 100:2008", "ISO 19867-1:2018", "ISO 18125", "Water Boiling Test 4.2.3", "IAPWS-IF97"):
        assert standard in whole
    bare = " ".join(method_notes(make_burn(pot=False, mass=False, flameout=False)))
    assert "JCGM 100:2008" in bare
    for standard in ("ISO 19867-1", "ISO 18125", "Water Boiling Test", "IAPWS-IF97"):
        assert standard not in bare


def test_the_meaning_of_plus_minus_comes_first() -> None:
    assert method_notes(make_burn())[0].startswith("± is half the width of the 95 % interval")
