"""An archive of made-up trials, and what is to be compared of what comes out of one."""

from pathlib import Path

from emberline import __version__
from emberline.store.archive import Archive
from emberline.store.blocks import Commit
from emberline.store.records import Trial
from emberline.store.store import Store
from unit.store.made_up import NOON_NS, SECOND_NS, batch


def trial_of(store: Store, bench: str = "yard", commits: int = 6, plan_text: str = "") -> Trial:
    """Enter a trial with a summary, and as many commits of two channels."""
    trial = store.create_trial(bench=bench, start_ns=NOON_NS, plan_text=plan_text)
    for number in range(commits):
        water = batch(10 * number, 10, channel="water", device=bench)
        store.commit(bench, [batch(10 * number, 10, device=bench), water])
    store.end_trial(trial.id, NOON_NS + commits * SECOND_NS)
    store.save_summary(trial.id, '{"trial": "made up"}', __version__, "{}")
    return store.trial(trial.id)


def archive_of(folder: Path, store: Store, *trials: Trial) -> Archive:
    """Archive trials of a store in a folder."""
    archive = Archive(str(folder / "archive"))
    for trial in trials:
        assert archive.keep(store, trial)
    return archive


def exactly(commits: list[Commit]) -> list[object]:
    """Return everything of commits as plain values; bits, not numbers, of the raw values."""
    return [
        (
            commit.id,
            [
                (
                    one.device,
                    one.boot,
                    one.channel,
                    one.first_seq,
                    one.t_ns.tolist(),
                    one.raw.tobytes(),
                    one.flags.tolist(),
                )
                for one in commit.batches
            ],
        )
        for commit in commits
    ]
