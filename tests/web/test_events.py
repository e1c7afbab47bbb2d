"""News reach everybody who listens, whoever else does not."""

from __future__ import annotations

import json
import os
import socket
import struct
import threading
import time
from pathlib import Path

import pytest

from monochord.job.desk.place import Desk
from monochord.web.app import create_app
from monochord.web.hub import WAITING, Hub
from tests.web.serving import served

#: A piece of news [bytes], and how often it comes [1/s]: ten times a second a hundred kilobytes.
SIZE, RATE, SECONDS = 100_000, 10.0, 6.0


def listen(port: int) -> socket.socket:
    """A connection that asks for news, and reads nothing yet."""
    asking = socket.create_connection(("127.0.0.1", port))
    asking.sendall(b"GET /api/events HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
    return asking


def follow(connection: socket.socket, heard: list[tuple[int, float]]) -> None:
    """Note the number of every piece of news and how old it was when it came [s]."""
    with connection.makefile("rb") as lines:
        for line in lines:
            if line.startswith(b"data: {"):
                what = json.loads(line[6:])
                heard.append((what["n"], time.monotonic() - what["at"]))
                if what.get("last"):
                    return


def memory() -> float:
    """Memory of this process that is in use [MB]."""
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def wait_for_viewers(hub: Hub, count: int) -> None:
    limit = time.monotonic() + 20.0
    while len(hub) != count:
        assert time.monotonic() < limit, f"{len(hub)} viewers, {count} expected"
        time.sleep(0.05)


@pytest.mark.skipif(not Path("/proc/self/statm").exists(), reason="memory is told by /proc here")
def test_a_silent_viewer_neither_slows_others_nor_fills_memory(tmp_path: Path) -> None:
    app = create_app(Desk(tmp_path))
    hub: Hub = app.state.room.hub
    with served(app) as port:
        silent, good = listen(port), [listen(port), listen(port)]
        wait_for_viewers(hub, 3)
        heard: list[list[tuple[int, float]]] = [[], []]
        readers = [threading.Thread(target=follow, args=pair, daemon=True) for pair in zip(good, heard, strict=True)]
        for reader in readers:
            reader.start()
        before, count = memory(), int(RATE * SECONDS)
        for n in range(count):
            hub.tell("test", {"n": n, "at": time.monotonic(), "last": n == count - 1, "filling": "x" * SIZE})
            time.sleep(1.0 / RATE)
        for reader in readers:
            reader.join(20)
        grown = memory() - before
        for connection in (silent, *good):
            connection.close()
    for one in heard:
        assert [n for n, _ in one] == list(range(count))
        assert max(age for _, age in one) < 1.0
    assert grown < 50.0  # MB


def test_viewers_that_are_killed_leave_nothing_behind_and_others_hear_on(tmp_path: Path) -> None:
    app = create_app(Desk(tmp_path))
    hub: Hub = app.state.room.hub
    with served(app) as port:
        good, heard = listen(port), list[tuple[int, float]]()
        wait_for_viewers(hub, 1)
        reader = threading.Thread(target=follow, args=(good, heard), daemon=True)
        reader.start()
        for n in range(40):
            if n < 20:
                killed = listen(port)
                # closed with a reset and no farewell, as when a machine dies
                killed.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
                killed.close()
            hub.tell("test", {"n": n, "at": time.monotonic(), "last": n == 39})
            time.sleep(0.1)
        reader.join(20)
        good.close()
        wait_for_viewers(hub, 0)
    assert [n for n, _ in heard] == list(range(40))
    assert max(age for _, age in heard) < 0.5


def test_a_slow_viewer_is_told_how_much_it_missed_and_gets_the_newest(tmp_path: Path) -> None:
    import asyncio

    hub = Hub()

    async def slow() -> list[str]:
        news = hub.watch()
        assert (await anext(news)).startswith(": watching")
        for n in range(WAITING + 10):
            hub.tell("test", {"n": n})
        await asyncio.sleep(0.05)  # it looks away while they come
        return [await anext(news) for _ in range(WAITING + 1)]

    first, *rest = asyncio.run(slow())
    assert first == "event: dropped\ndata: 10\n\n"
    assert json.loads(rest[-1].split("data: ")[1])["n"] == WAITING + 9
