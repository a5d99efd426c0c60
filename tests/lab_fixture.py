"""A store with two short burns that somebody recorded: what programs of one's own are tried on."""

from pathlib import Path

from emberline import app
from emberline_sim.files import write_csv
from stored_burn import START_NS, plan, recording


def fill(folder: Path, factor: str = "fuel", levels: tuple[str, str] = ("beech", "pine")) -> Path:
    """Import two burns, of fuels whose heating value differs, the second one's record a reading shorter.

    Return the data folder. Each recording, such as `pine.csv`, has its plan beside it in `pine.toml`. `factor` is what
    their plans say was varied, `levels` what it was in each.
    """
    burn = recording(str(folder))
    for fuel, lhv, level in zip(("beech", "pine"), ("18200.0", "19400.0"), levels, strict=True):
        table = folder / f"{fuel}.csv"
        write_csv(burn, table)
        if fuel == "pine":
            table.write_text("".join(table.read_text().splitlines(keepends=True)[:-1]))
        text = plan(burn).replace("lhv_dry_j_g = 18200.0", f"lhv_dry_j_g = {lhv}")
        head, fuel_section, rest = text.partition("\n[fuel]")
        assert fuel_section
        assert lhv in rest
        head = "\n".join(line for line in head.splitlines() if not line.startswith("factors"))
        (folder / f"{fuel}.toml").write_text(f'{head}\nfactors = {{ {factor} = "{level}" }}\n{fuel_section}{rest}')
        app.import_burn(
            table,
            folder / "data",
            plan_text=(folder / f"{fuel}.toml").read_text(),
            label=f"{fuel}, first burn",
            now_ns=lambda: START_NS,
        )
    return folder / "data"
