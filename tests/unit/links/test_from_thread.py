import asyncio
import threading

import pytest

from emberline.links.errors import LinkError
from emberline.links.from_thread import EventLoopSide


def from_another_thread(work: threading.Thread) -> None:
    work.start()
    work.join(10.0)


async def test_what_a_thread_tells_happens_on_the_loop() -> None:
    side, heard = EventLoopSide(), asyncio.Event()
    where: list[threading.Thread] = []

    def hear() -> None:
        where.append(threading.current_thread())
        heard.set()

    from_another_thread(threading.Thread(target=side.tell, args=(hear,)))
    await asyncio.wait_for(heard.wait(), 10.0)
    assert where == [threading.current_thread()]


async def test_the_first_word_on_the_opening_counts() -> None:
    well, badly = EventLoopSide(), EventLoopSide()
    for error in (None, LinkError("too late")):
        from_another_thread(threading.Thread(target=well.tell_opened, args=(error,)))
        from_another_thread(threading.Thread(target=badly.tell_opened, args=(error or LinkError("no port"),)))
    await asyncio.wait_for(well.opened, 10.0)
    with pytest.raises(LinkError, match="no port"):
        await asyncio.wait_for(badly.opened, 10.0)


def test_a_loop_that_has_ended_hears_nothing_and_no_error_comes() -> None:
    async def make() -> EventLoopSide:
        return EventLoopSide()

    side = asyncio.run(make())
    side.tell(print)
    side.tell_opened(LinkError("the port went away"))
