"""The tables of the feed, one module per noun; imported here so that Django finds them."""

from feed.models.batches import ForageBatch, HeapCheck
from feed.models.feedings import Discard, Feeding, FeedLot, Refusal
from feed.models.fields import Field, FieldWork
from feed.models.rules import FeedShareRule, WindowRule

__all__ = [
    "Discard",
    "FeedLot",
    "FeedShareRule",
    "Feeding",
    "Field",
    "FieldWork",
    "ForageBatch",
    "HeapCheck",
    "Refusal",
    "WindowRule",
]
