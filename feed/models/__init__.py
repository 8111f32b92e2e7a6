"""The tables of the feed, one module per noun; imported here so that Django finds them."""

from feed.models.batches import ForageBatch, HeapCheck
from feed.models.feedings import Discard, Feeding, FeedLot, Refusal, StackCheck
from feed.models.fields import Field, FieldWalk, FieldWork, WaitRule
from feed.models.measures import AirHour, DryMatterSample
from feed.models.rules import (
    ClearanceRule,
    FeedFigure,
    FeedRule,
    FeedShareRule,
    GrassTarget,
    WindowRule,
)

__all__ = [
    "AirHour",
    "ClearanceRule",
    "Discard",
    "DryMatterSample",
    "FeedFigure",
    "FeedLot",
    "FeedRule",
    "FeedShareRule",
    "Feeding",
    "Field",
    "FieldWalk",
    "FieldWork",
    "ForageBatch",
    "GrassTarget",
    "HeapCheck",
    "Refusal",
    "StackCheck",
    "WaitRule",
    "WindowRule",
]
