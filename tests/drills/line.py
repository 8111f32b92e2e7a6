"""A line between two programs that can be cut: a port here, and a server behind it.

Runs in a thread with a loop of its own, so that whoever drills may cut while others talk.
"""

import asyncio
import os
import random
import threading
from collections.abc import Coroutine
from contextlib import suppress
from pathlib import Path
from typing import Any

CHUNK = 65536
WAIT_SECONDS = 10

Carried = tuple[asyncio.StreamWriter, asyncio.StreamWriter]


class Line:
    """Takes connections at ``port`` of this machine and carries them to ``target``: the socket of a
    server, as a path or a port.
    """

    def __init__(self, name: str, target: Path | int) -> None:
        self.name, self.target = name, target
        self.port = 0
        self.down = False
        self.carried: set[Carried] = set()
        self.loop = asyncio.new_event_loop()
        self.thread = threading.Thread(target=self.loop.run_forever, daemon=True)
        self.thread.start()
        self.ear: asyncio.Server = self.do(asyncio.start_server(self.carry, "127.0.0.1", 0))
        self.port = self.ear.sockets[0].getsockname()[1]

    def do(self, work: Coroutine[Any, Any, Any]) -> Any:
        """Have the line's thread do something, and wait for it."""
        return asyncio.run_coroutine_threadsafe(work, self.loop).result(WAIT_SECONDS)

    async def carry(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """One connection, both ways, until either side ends it or it is cut."""
        if self.down:
            writer.transport.abort()
            return
        try:
            far_reader, far_writer = await self.reach()
        except OSError:
            writer.transport.abort()
            return
        pair = (writer, far_writer)
        self.carried.add(pair)
        try:
            await asyncio.gather(pass_on(reader, far_writer), pass_on(far_reader, writer))
        finally:
            self.carried.discard(pair)
            for end in pair:
                end.close()

    async def reach(self) -> tuple[asyncio.StreamReader, asyncio.StreamWriter]:
        if isinstance(self.target, Path):
            return await asyncio.open_unix_connection(os.fspath(self.target))
        return await asyncio.open_connection("127.0.0.1", self.target)

    def cut(self, luck: random.Random) -> int:
        """Cut what is open now, or a part of it at random; how many connections that were."""
        return int(self.do(self.cut_some(luck)))

    async def cut_some(self, luck: random.Random) -> int:
        open_ = sorted(self.carried, key=id)
        chosen = luck.sample(open_, luck.randint(1, len(open_))) if open_ else []
        await self.abort(chosen)
        return len(chosen)

    def take_down(self) -> None:
        """Cut everything, and take nothing until it is up again."""
        self.down = True
        self.do(self.abort(list(self.carried)))

    def bring_up(self) -> None:
        self.down = False

    async def abort(self, chosen: list[Carried]) -> None:
        for pair in chosen:
            for end in pair:
                end.transport.abort()

    def close(self) -> None:
        if self.loop.is_closed():
            return
        self.take_down()
        self.do(self.hang_up())
        self.loop.call_soon_threadsafe(self.loop.stop)
        self.thread.join(WAIT_SECONDS)
        self.loop.close()

    async def hang_up(self) -> None:
        """Take no more, and let those that are being cut come to their end."""
        self.ear.close()
        others = asyncio.all_tasks() - {asyncio.current_task()}
        await asyncio.wait(others, timeout=1) if others else None


async def pass_on(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    """What one side says, said to the other."""
    with suppress(OSError):
        while said := await reader.read(CHUNK):
            writer.write(said)
            await writer.drain()
    with suppress(OSError, RuntimeError):
        writer.write_eof()
