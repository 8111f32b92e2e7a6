"""The small chain of the trace's tests is there for every test of the milk."""

from tests.milk.trace_chain import chain, chain_once

__all__ = ["chain", "chain_once"]
