"""A person's corrections of trials."""

import json
import sqlite3

from emberline.store import trials
from emberline.store.errors import StoreError
from emberline.trials.correction_documents import change_document, read_change
from emberline.trials.corrections import Correction


def add(connection: sqlite3.Connection, trial: str, entry: Correction, plan_text: str | None, now_ns: int) -> None:
    """Keep a correction, and with it the plan that it makes.

    Args:
        connection: Within a transaction.
        trial: Id of the trial.
        entry: The correction; its number must be the next one.
        plan_text: The plan from now on, whose label is the trial's; None where it stays.
        now_ns: The clock.

    Raises:
        UnknownTrialError: No trial has that id.
        StoreError: Another correction has that number.
    """
    trials.get(connection, trial)
    (last,) = connection.execute("SELECT max(number) FROM corrections WHERE trial = ?", (trial,)).fetchone()
    if entry.number != (last or 0) + 1:
        raise StoreError(f"correction {entry.number} of trial {trial} is not the next one: look at it anew")
    connection.execute(
        "INSERT INTO corrections VALUES (?, ?, ?, ?, ?, ?)",
        (trial, entry.number, entry.made_ns, entry.who, entry.why, json.dumps(change_document(entry.change))),
    )
    if plan_text is not None:
        trials.save_plan(connection, trial, plan_text, now_ns)
        trials.rename(connection, trial)


def listed(connection: sqlite3.Connection, trial: str) -> list[Correction]:
    """Return the corrections of a trial in their order."""
    trials.get(connection, trial)
    rows = connection.execute(
        "SELECT number, made_ns, who, why, change FROM corrections WHERE trial = ? ORDER BY number", (trial,)
    )
    return [
        Correction(number, made_ns, who, why, read_change(json.loads(text))) for number, made_ns, who, why, text in rows
    ]


def counts(connection: sqlite3.Connection) -> dict[str, int]:
    """Return how many corrections each trial has, by its id; those without any are left out."""
    return dict(connection.execute("SELECT trial, count(*) FROM corrections GROUP BY trial"))
