from dataclasses import replace

from emberline.bench.channels import Calibrated, Role, default_channel
from emberline.trials.calibrating.used import used_calibrations

START_NS = 1_764_072_000_000_000_000
"""2025-11-25T12:00:00Z."""


def test_a_calibration_is_told_from_one_that_came_later() -> None:
    before, after = Calibrated("mass", 3, "2025-11-25T11:59:00Z"), Calibrated("drift", 7, "2025-12-01T08:00:00Z")
    channel = replace(default_channel(Role.MASS, "scale"), calibrated=(before, after))
    first, second = used_calibrations([default_channel(Role.WATER), channel], START_NS)
    assert (first.channel, first.kind, first.number, first.later) == ("scale", "mass", 3, False)
    assert first.words == "Channel scale was calibrated with known masses on 2025-11-25 (calibration 3)."
    assert second.later
    assert "drift with temperature found later, on 2025-12-01 (calibration 7)" in second.words
    assert "read again" in second.words


def test_channels_that_nobody_calibrated_have_nothing_to_tell() -> None:
    assert used_calibrations([default_channel(Role.MASS)], START_NS) == ()
