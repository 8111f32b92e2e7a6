"""The kinds of entry about the cheese of a vat: results of laboratories, and criteria."""

from django.utils.translation import gettext_lazy as _l

from config.kinds import Kind
from milk.models import CheeseLimit, CheeseTest
from milk.services import cheese

CHEESE = (
    Kind(
        slug="cheese-tests",
        model=CheeseTest,
        title=_l("Cheese tests"),
        moment=_l("sample taken at"),
        help=_l("Of the cheese of a vat. One that fails a criterion holds the vat and its wheels."),
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
        title=_l("Criteria of cheese"),
        moment=_l("decided at"),
        help=_l(
            "Sampling plans (n, c, m, M) and what cheese of a name must be, each from a day on."
        ),
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
