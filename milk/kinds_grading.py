"""The kinds of entry of grading: rules, faults, inspections, and marks on rinds."""

from django.utils.translation import gettext_lazy as _l

from config.kinds import Kind
from milk.models import AgeRule, Fault, GradeRule, Inspection, RindMark
from milk.services import grading

GRADING = (
    Kind(
        slug="inspections",
        model=Inspection,
        title=_l("Inspections"),
        moment=_l("looked at"),
        help=_l("Only a newer inspection corrects one; a slip may be taken back at once."),
        fields=("wheel", "way", "grade", "fault", "findings", "kg", "inspector"),
        record=grading.record_inspection,
        strike=grading.strike_inspection,
        filters=("wheel", "grade"),
    ),
    Kind(
        slug="rind-marks",
        model=RindMark,
        title=_l("Marks on rinds"),
        moment=_l("done at"),
        help=_l(
            "Grooves for seconds, marks taken off what is downgraded: a rind keeps both for ever."
        ),
        fields=("wheel", "what"),
        record=grading.record_rind_mark,
        filters=("wheel", "what"),
    ),
    Kind(
        slug="faults",
        model=Fault,
        title=_l("Faults"),
        moment=_l("decided at"),
        help=_l(
            "The list the tapper chooses from: what each means, and the grade it usually costs."
        ),
        fields=("name", "means", "where", "usual_grade", "valid_from", "source"),
        filters=("where", "usual_grade"),
    ),
    Kind(
        slug="grade-rules",
        model=GradeRule,
        title=_l("Rules of the grades"),
        moment=_l("decided at"),
        help=_l("What a grade means from a day on, and what the rind of such a wheel must bear."),
        fields=("grade", "means", "marks", "counts_as", "named", "valid_from", "source"),
        filters=("grade",),
    ),
    Kind(
        slug="age-rules",
        model=AgeRule,
        title=_l("Age rules"),
        moment=_l("decided at"),
        help=_l("How old a wheel must be before it leaves, from a day on, and where that stands."),
        fields=("of", "at_least", "unit", "scheme", "valid_from", "source"),
        filters=("of", "scheme"),
    ),
)
