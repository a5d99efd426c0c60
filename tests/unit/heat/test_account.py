"""What an account promises to those who read it, on accounts that the ledger drew up."""

from dataclasses import FrozenInstanceError, fields

import numpy as np
import pytest

from burn_fixture import SyntheticBurn
from emberline.curves.events import Phase
from emberline.heat.account import Account
from stove_fixture import Stove, told

DRAWN_UP = {
    "lifted": told(Stove()).account,
    "kept": told(Stove(pot_off_s=None)).account,
    "no pot": told(Stove(pot_on_s=None)).account,
    "made up": SyntheticBurn().account(),
}
ALL = pytest.mark.parametrize("account", list(DRAWN_UP.values()), ids=list(DRAWN_UP))


@ALL
def test_all_curves_lie_on_one_grid(account: Account) -> None:
    n = len(account.t_s)
    assert np.all(np.diff(account.t_s) == 1.0)
    for field in fields(account):
        value = getattr(account, field.name)
        if isinstance(value, np.ndarray):
            assert value.shape == (n,)
    assert len(account.phase) == n


@ALL
def test_no_uncertainty_is_negative(account: Account) -> None:
    for curve in (account.u_fuel_g, account.u_burning_rate_g_min):
        known = curve[np.isfinite(curve)]
        assert (known >= 0.0).all()


@ALL
def test_phases_keep_their_order(account: Account) -> None:
    order = list(Phase)
    places = [order.index(phase) for phase in account.phase]
    assert places == sorted(places)


@ALL
def test_visits_end_after_they_began(account: Account) -> None:
    for visit in account.visits:
        assert 0.0 <= visit.pot_on_s < visit.end_s <= len(account.t_s)
        assert visit.pot_off_s in (None, visit.end_s)
        assert visit.boil_s is None or visit.pot_on_s <= visit.boil_s <= visit.end_s
        assert visit.known_by


@ALL
def test_losses_share_their_errors(account: Account) -> None:
    whole = account.fuel_lost(100.0, 900.0)
    parts = account.fuel_lost(100.0, 500.0) + account.fuel_lost(500.0, 900.0)
    assert parts.nominal_value == pytest.approx(whole.nominal_value)
    # The span is one error: parts that were taken apart and put together again are not surer than the whole.
    assert parts.std_dev > 0.9 * whole.std_dev


@ALL
def test_a_moment_loses_nothing(account: Account) -> None:
    assert account.fuel_lost(400.0, 400.0).nominal_value == 0.0


@ALL
def test_an_account_cannot_be_changed(account: Account) -> None:
    with pytest.raises(FrozenInstanceError):
        account.has_mass = False  # type: ignore[misc]
