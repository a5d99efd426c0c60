"""The caution that goes with every figure of a burn."""

CAUTION_TITLE = "Fire, carbon monoxide, scalds, hot char"
"""Heading above the caution."""

CAUTION_POINTS = (
    (
        "Burn outdoors or under a working extraction hood, never in a tent, garage or vehicle. Carbon monoxide has no "
        "smell, and char gives off most of it after the flame has gone, when the burn looks finished."
    ),
    (
        "Never leave a lit stove alone: a program that watches is not a person who watches. Keep water, sand and an "
        "extinguisher in reach and a metre of floor that cannot burn around the stove."
    ),
    (
        "Measure starter liquid before lighting, cap the bottle and take it away. Never pour any on a stove that is "
        "lit or hot. An alcohol flame is nearly invisible; petrol is never a starter."
    ),
    (
        "Boiling water and steam scald. Hold the stand against tipping without touching the weighed part. Lead cables "
        "where nobody trips, and keep them and batteries away from the heat."
    ),
    (
        "Char can rekindle for hours: smother it in a lidded metal can outdoors, leave it a day, weigh it only when "
        "cold. Never blow on a hot stove that was smothered: its gas can flash."
    ),
)
"""The caution, one hazard a point."""

CAUTION_CLOSE = (
    "Follow local fire rules and burn bans, and ask qualified people where in doubt. These figures describe one burn; "
    "they are no certification and no statement that a stove is safe."
)
"""The sentence that closes the caution."""

CAUTION_LINE = (
    "Caution: carbon monoxide, fire, scalds and hot char. Burn outdoors, never unattended, follow local fire rules; "
    "char stays dangerous for hours after the flame. Figures are no certification."
)
"""The caution in one line, for a terminal."""
