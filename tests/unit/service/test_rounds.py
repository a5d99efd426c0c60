import asyncio
from collections import Counter

import pytest

from emberline.service import rounds as module
from emberline.service.rounds import AT_ONCE, Rounds
from live_fixture import until
from unit.service.meanwhile import meanwhile


@pytest.fixture(autouse=True)
def swift(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "STEP_S", 0.001)
    monkeypatch.setattr(module, "AGAIN_S", 0.01)


def silent(_: str) -> None: ...


async def test_each_is_called_in_its_own_time_and_not_after_it_was_left() -> None:
    rounds, called = Rounds(), Counter[str]()

    def often() -> None:
        called["often"] += 1

    def seldom() -> None:
        called["seldom"] += 1

    rounds.enter("often", often, 0.0, silent)
    rounds.enter("seldom", seldom, 60.0, silent)
    async with meanwhile(rounds.run()):
        await until(lambda: called["often"] >= 5, "some rounds")
        rounds.leave("often")
        rounds.leave("never entered")
        before = called["often"]
        rounds.enter("last", lambda: called.update(["last"]), 0.0, silent)
        await until(lambda: called["last"] >= 5, "more rounds")
    assert (called["often"], called["seldom"]) == (before, 1)


async def test_what_fails_is_told_once_called_again_and_keeps_nothing_else_waiting(
    caplog: pytest.LogCaptureFixture,
) -> None:
    rounds, called, told = Rounds(), Counter[str](), list[str]()

    def fail() -> None:
        called["bad"] += 1
        if called["bad"] < 4:
            raise ValueError("a bug")

    rounds.enter("bad", fail, 0.0, told.append)
    rounds.enter("good", lambda: called.update(["good"]), 0.0, silent)
    async with meanwhile(rounds.run()):
        await until(lambda: told[-1:] == [""], "the all-clear")
    assert called["good"] > called["bad"]
    assert told == ["bad failed, and is tried again: a bug", ""]
    assert caplog.text.count("bad failed") == 1


async def test_many_leave_others_their_turn() -> None:
    rounds, order = Rounds(), list[str]()
    for number in range(2 * AT_ONCE):
        rounds.enter(f"bench {number}", lambda: order.append("bench"), 60.0, silent)
    async with meanwhile(rounds.run()):
        asyncio.get_running_loop().call_soon(order.append, "other")
        await until(lambda: len(order) == 2 * AT_ONCE + 1, "one round")
    assert 0 < order.index("other") < 2 * AT_ONCE
