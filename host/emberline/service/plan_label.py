"""The label that a person gives on the command line, joined to a plan's text."""

from emberline.bench.errors import PlanError
from emberline.bench.plan import parse_plan
from emberline.bench.toml_writing import quoted
from emberline.service.errors import RequestError


def labelled_plan(plan_text: str, label: str | None) -> str:
    """Return a plan's text that carries a label, checked.

    Raises:
        RequestError: The plan has problems, or a label of its own.
    """
    try:
        plan = parse_plan(plan_text)
        if label is None:
            return plan_text
        if plan.label is not None:
            raise RequestError(f"the plan has the label {plan.label!r} already: leave --label out")
        labelled = f"label = {quoted(label)}\n{plan_text}"
        parse_plan(labelled)
    except PlanError as error:
        raise RequestError(f"the plan has problems: {error}") from error
    return labelled
