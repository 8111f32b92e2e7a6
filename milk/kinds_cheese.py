"""The kinds of entry about the cheese of a vat: results of laboratories, and criteria."""

from config.kinds import Kind
from milk.models import CheeseLimit, CheeseTest
from milk.services import cheese

CHEESE = (
    Kind(
        slug="cheese-tests",
        model=CheeseTest,
        title="Cheese tests",
        moment="sample taken at",
        help="Of the cheese of a vat. One that fails a criterion holds the vat and its wheels.",
        fields=(
            "vat",
            "what",
            "written",
            "unit",
            "units",
            "detected",
            "sample",
            "laboratory",
            "method",
        ),
        shown=("said",),
        record=cheese.record_cheese_test,
        strike=cheese.strike_cheese_test,
        filters=("vat", "what", "laboratory"),
    ),
    Kind(
        slug="cheese-limits",
        model=CheeseLimit,
        title="Criteria of cheese",
        moment="decided at",
        help="Sampling plans (n, c, m, M) and what cheese of a name must be, each from a day on.",
        fields=(
            "what",
            "growth",
            "units",
            "between",
            "low",
            "high",
            "at_least",
            "scheme",
            "valid_from",
            "source",
        ),
        record=cheese.record_cheese_limit,
        filters=("what", "scheme"),
    ),
)
