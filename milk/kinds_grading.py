"""The kinds of entry from the grading of wheels until they leave."""

from config.kinds import Kind
from milk.models import Dispatch, Inspection
from milk.services import dispatch, grading
from milk.services.wheel_places import strike_step

OUT = (
    Kind(
        slug="inspections",
        model=Inspection,
        title="Inspections",
        moment="looked at",
        fields=("wheel", "way", "grade", "findings", "kg"),
        record=grading.record_inspection,
        filters=("wheel", "grade"),
    ),
    Kind(
        slug="dispatches",
        model=Dispatch,
        title="Dispatches",
        moment="left at",
        help="A wheel that is held, or made of held milk, does not leave.",
        fields=("wheel", "buyer", "kg", "paper", "order", "carrier"),
        record=dispatch.record_dispatch,
        strike=strike_step,
        correct=dispatch.correct_dispatch,
        filters=("wheel", "buyer", "paper"),
    ),
)
