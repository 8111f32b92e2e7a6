"""The milk's kinds of entry; lists, forms and the API come from these."""

from django.utils.translation import gettext_lazy as _l

from config.kinds import Kind, register
from milk.kinds_cheese import CHEESE
from milk.kinds_grading import GRADING
from milk.kinds_hall import HALL
from milk.kinds_lots import KEPT_OUT, TANKS, TESTS
from milk.kinds_orders import ORDERS
from milk.kinds_recalls import RECALLS
from milk.kinds_store import BRINE, IN_STORE
from milk.models import (
    StarterCan,
    Vat,
    VatFill,
    Wheel,
)
from milk.models.vats import MARKED
from milk.services import (
    starter,
    vats,
    wheels,
)
from milk.services.changing import strike_milk

VATS = (
    Kind(
        slug="starter-cans",
        model=StarterCan,
        title=_l("Starter cans"),
        moment=_l("filled at"),
        help=_l("Whey of the first vat; that of further vats is written as whey added."),
        fields=("can", "from_vat", "litres", "temperature", "acidity"),
        record=starter.record_can,
        filters=("can", "from_vat"),
    ),
    Kind(
        slug="vats",
        model=Vat,
        title=_l("Vats"),
        moment=_l("filling began at"),
        fields=(
            "day",
            "number",
            "round",
            "fat",
            "protein",
            "casein",
            "starter_can",
            "starter_l",
            "rennet_batch",
            "rennet_g",
            "recipe",
            "remark",
        ),
        shown=MARKED,
        record=vats.record_vat,
        correct=vats.correct_vat,
        filters=("day", "number"),
    ),
    Kind(
        slug="vat-fills",
        model=VatFill,
        title=_l("Vat fills"),
        moment=_l("began at"),
        help=_l(
            "From a tank or from a tray; which lots it was follows from what the tank held then."
        ),
        fields=("vat", "tank", "tray", "kg", "ended_at"),
        record=vats.fill_vat,
        strike=strike_milk,
        filters=("vat", "tank", "tray"),
    ),
    Kind(
        slug="wheels",
        model=Wheel,
        title=_l("Wheels"),
        moment=_l("lifted at"),
        fields=("plate", "vat", "twin", "kg", "mould", "cloth", "band"),
        record=wheels.record_wheel,
        strike=wheels.strike_wheel,
        correct=wheels.correct_wheel,
        filters=("plate", "vat"),
    ),
)

register(
    (
        *TANKS,
        *TESTS,
        *CHEESE,
        *KEPT_OUT,
        *HALL,
        *VATS,
        *BRINE,
        *IN_STORE,
        *GRADING,
        *ORDERS,
        *RECALLS,
    )
)
