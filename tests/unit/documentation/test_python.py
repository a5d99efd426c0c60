import inspect

from documentation.python import python

from emberline import lab


def test_everything_public_is_described() -> None:
    text = python()
    for name in lab.__all__:
        member = getattr(lab, name)
        if inspect.isfunction(member):
            assert f"## {name}\n" in text
            assert f"```text\nlab.{name}(" in text
    for one in (lab.Store, lab.Trial, lab.Comparison):
        assert f"## {one.__name__}\n" in text
        for name in vars(one):
            if not name.startswith("_"):
                assert f"### {name}\n" in text, name


def test_signatures_and_sections_are_those_of_the_docstrings() -> None:
    text = python()
    assert "recompute(plan=None, bench=None)" in text
    assert "figure(*, narrow=False)" in text
    assert "- `UnknownTrialError`: There is no such trial." in text
    assert "self" not in text.replace("itself", "")
