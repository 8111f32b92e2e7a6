"""The kinds of entry of recalls, and of what leaves the dairy besides wheels."""

from config.kinds import Kind
from milk.models import ProductOut, Recall, RecallStep
from milk.services import products, recalls

RECALLS = (
    Kind(
        slug="products-out",
        model=ProductOut,
        title="Cream, butter and whey sent out",
        moment="left at",
        help="With the day whose milk it is of, so that a recall finds the buyer.",
        fields=("what", "of_day", "buyer", "kg", "paper"),
        record=products.record_product_out,
        filters=("what", "of_day", "buyer"),
    ),
    Kind(
        slug="recalls",
        model=Recall,
        title="Recalls and drills",
        moment="started at",
        help="What it starts from, and how many of the wheels below it are located.",
        fields=("root_kind", "root", "reach", "since", "until", "reason", "drill"),
        shown=("pieces", "located"),
        record=recalls.record_recall,
        strike=recalls.strike_recall,
        filters=("root_kind", "drill"),
    ),
    Kind(
        slug="recall-steps",
        model=RecallStep,
        title="Steps of recalls",
        moment="done at",
        fields=(
            "recall",
            "what",
            "wheel",
            "buyer",
            "spoke_with",
            "answer",
            "place",
            "kg",
            "paper",
            "words",
        ),
        record=recalls.record_recall_step,
        strike=recalls.strike_step,
        filters=("recall", "what"),
    ),
)
