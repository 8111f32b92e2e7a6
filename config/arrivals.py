"""Rows of one statement of a pipeline as soon as they are there.

psycopg waits for the answers to all that was sent before it gives the rows of any: what is sent
ahead would be waited for as well. It has no public way to wait for one, so this reads the queue of
its pipeline as its ``BasePipeline._fetch_gen`` does (psycopg 3.3); should a new version keep it
otherwise, ``tests/config/test_arrivals.py`` fails.
"""

from collections.abc import Generator
from contextlib import suppress
from typing import Any

import psycopg
from psycopg import generators

Cursor = psycopg.Cursor[Any]


def ask_to_be_told(cursor: Cursor) -> None:
    """Have the server send the rows of the last statement when it has them, not with the next."""
    cursor.connection.pgconn.send_flush_request()


def wait_for(cursor: Cursor) -> None:
    """Wait until the rows of a cursor are there, or what was sent before it failed.

    Raises psycopg.Error. Without a pipeline they are there already.
    """
    here = cursor.connection
    if here._pipeline is not None and cursor.pgresult is None:
        with here.lock:
            here.wait(arriving(here._pipeline, cursor))


def arriving(pipeline: psycopg.Pipeline, cursor: Cursor) -> Generator[Any, Any, None]:
    """Take answers off the connection, in their order, until this cursor has its own."""
    yield from generators.send(pipeline.pgconn)
    while pipeline.result_queue and cursor.pgresult is None:
        results = yield from generators.fetch_many(pipeline.pgconn)
        if not results:
            return
        try:
            pipeline._process_results(pipeline.result_queue.popleft(), results)
        except psycopg.Error:
            # What was sent after a statement that failed was not carried out, which says no more.
            with suppress(psycopg.Error):
                yield from pipeline._fetch_gen(flush=True)
            raise
