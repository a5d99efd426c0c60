"""A laboratory's look at its burns: a table of results, a comparison, what moisture does, figures for a paper.

Cells begin with `# %%`; editors and notebooks that know them run it cell by cell. Or run it whole, in the folder that
holds `emberline-data`. It needs pandas: `pip install pandas`.
"""

# %% Open the store; a daemon may be recording into it meanwhile
import numpy as np
import pandas as pd

from emberline import lab

store = lab.open_store()

# %% Results as a table: one row a trial, excluded ones left out
results = pd.DataFrame(store.results())
results = results[results["excluded"] == ""]
shown = results[["trial", "factors.holes", "burn_time", "firepower_mean", "thermal_efficiency", "u_thermal_efficiency"]]
print(shown.to_string(index=False))

# %% Mean and scatter by number of holes, as anyone would
print(results.groupby("factors.holes")["thermal_efficiency"].agg(["count", "mean", "std"]))

# %% Curves of one trial
trial = store.trial("last")
curves = pd.DataFrame(trial.curves()).set_index("t_s")
flaming = curves[curves["phase"] == "flaming"]
print(f"{trial.id}: {flaming['burning_rate_g_min'].mean():.2f} g/min while flaming, of {len(flaming)} s")

# %% What if the fuel had been moister than it was said to be? Nothing of this is stored
moistures = np.array([0.08, 0.10, 0.12, 0.14])
efficiencies = [
    trial.recompute(plan={"fuel.moisture_wet": float(moisture)}).value("thermal_efficiency") for moisture in moistures
]
slope = np.polyfit(moistures, efficiencies, 1)[0]
print(f"efficiency rises by {100.0 * slope / 100.0:.3f} points for each point of moisture")

# %% Figures for a paper, one column of a journal wide
trial.figure(narrow=True).savefig("burn.pdf")
by_holes = {holes: [store.trial(name) for name in names] for holes, names in results.groupby("factors.holes")["trial"]}
lab.overlay(by_holes, narrow=True).savefig("holes.pdf")
store.compare(["holes"], results=["burn_time", "thermal_efficiency"]).figure(narrow=True).savefig("compared.pdf")
