"""Emberline for programs and notebooks of one's own: stored trials as numbers, with other inputs, and drawn.

Nothing here writes to a store, so all of it may be used while a daemon records. A *table* is a dictionary of columns,
numpy arrays of one length: `pandas.DataFrame(table)` takes it as it is. What is not known is NaN, NaT or an empty text.

    from emberline import lab

    store = lab.open_store("emberline-data")
    results = store.results()
    trial = store.trial("last")
    curves = trial.curves()
    wetter = trial.recompute(plan={"fuel.moisture_wet": 0.14})
    trial.figure().savefig("burn.pdf")
"""

from emberline.bench.errors import BenchError, BenchFileError, PlanError
from emberline.config import ConfigError
from emberline.lab.comparison import Comparison
from emberline.lab.store import Store, open_archive, open_store, units
from emberline.lab.tables import Table
from emberline.lab.trial import Trial, overlay
from emberline.store.errors import StoreError, StoreMissingError, UnknownTrialError
from emberline.trials.comparison.errors import ComparisonError

__all__ = [
    "BenchError",
    "BenchFileError",
    "Comparison",
    "ComparisonError",
    "ConfigError",
    "PlanError",
    "Store",
    "StoreError",
    "StoreMissingError",
    "Table",
    "Trial",
    "UnknownTrialError",
    "open_archive",
    "open_store",
    "overlay",
    "units",
]
