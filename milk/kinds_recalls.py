"""The kinds of entry of recalls, and of what leaves the dairy besides wheels."""

from django.utils.translation import gettext_lazy as _l

from config.kinds import Kind
from milk.models import OutsideFinding, OutsideStep, ProductOut, Recall, RecallStep
from milk.services import outside, products, recalls

RECALLS = (
    Kind(
        slug="products-out",
        model=ProductOut,
        title=_l("Cream, butter and whey sent out"),
        moment=_l("left at"),
        help=_l("With the day whose milk it is of, so that a recall finds the buyer."),
        fields=("what", "of_day", "buyer", "kg", "paper"),
        record=products.record_product_out,
        filters=("what", "of_day", "buyer"),
    ),
    Kind(
        slug="outside-findings",
        model=OutsideFinding,
        title=_l("Findings outside"),
        moment=_l("told at"),
        help=_l("What a buyer, a laboratory or an authority found in our milk or cheese."),
        fields=(
            "found_by",
            "who",
            "about_kind",
            "about",
            "what",
            "substance",
            "result",
            "allowed",
            "sample",
            "sampled_on",
            "paper",
            "words",
        ),
        shown=("about_name",),
        record=outside.record_outside_finding,
        strike=outside.strike_outside_finding,
        filters=("found_by", "about_kind", "what"),
    ),
    Kind(
        slug="outside-steps",
        model=OutsideStep,
        title=_l("Steps of findings"),
        moment=_l("done at"),
        fields=("finding", "what", "words", "paper"),
        record=outside.record_outside_step,
        strike=outside.strike_outside_step,
        filters=("finding", "what"),
    ),
    Kind(
        slug="recalls",
        model=Recall,
        title=_l("Recalls and drills"),
        moment=_l("started at"),
        help=_l("What it starts from, and how many of the wheels below it are located."),
        fields=("root_kind", "root", "reach", "since", "until", "reason", "drill"),
        shown=("pieces", "located"),
        record=recalls.record_recall,
        strike=recalls.strike_recall,
        filters=("root_kind", "drill"),
    ),
    Kind(
        slug="recall-steps",
        model=RecallStep,
        title=_l("Steps of recalls"),
        moment=_l("done at"),
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
