"""A store with two short burns that somebody recorded: what programs of one's own are tried on."""

from pathlib import Path

from emberline import app
from emberline_sim.files import write_csv
from stored_burn import START_NS, plan, recording


def fill(folder: Path) -> Path:
    """Import one burn twice, as of two fuels whose heating value differs; return the data folder."""
    burn = recording(str(folder))
    for fuel, lhv in (("beech", "18200.0"), ("pine", "19400.0")):
        write_csv(burn, folder / f"{fuel}.csv")
        text = plan(burn).replace("lhv_dry_j_g = 18200.0", f"lhv_dry_j_g = {lhv}")
        head, fuel_section, rest = text.partition("\n[fuel]")
        assert fuel_section
        assert lhv in rest
        head = "\n".join(line for line in head.splitlines() if not line.startswith("factors"))
        (folder / f"{fuel}.toml").write_text(f'{head}\nfactors = {{ fuel = "{fuel}" }}\n{fuel_section}{rest}')
        app.import_burn(
            folder / f"{fuel}.csv",
            folder / "data",
            plan_file=folder / f"{fuel}.toml",
            label=f"{fuel}, first burn",
            now_ns=lambda: START_NS,
        )
    return folder / "data"
