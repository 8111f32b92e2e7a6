"""The kinds of entry of grading: rules, faults, inspections, and marks on rinds."""

from config.kinds import Kind
from milk.models import AgeRule, Fault, GradeRule, Inspection, RindMark
from milk.services import grading

GRADING = (
    Kind(
        slug="inspections",
        model=Inspection,
        title="Inspections",
        moment="looked at",
        help="Only a newer inspection corrects one; a slip may be taken back at once.",
        fields=("wheel", "way", "grade", "fault", "findings", "kg", "inspector"),
        record=grading.record_inspection,
        strike=grading.strike_inspection,
        filters=("wheel", "grade"),
    ),
    Kind(
        slug="rind-marks",
        model=RindMark,
        title="Marks on rinds",
        moment="done at",
        help="Grooves for seconds, marks taken off what is downgraded: a rind keeps both for ever.",
        fields=("wheel", "what"),
        record=grading.record_rind_mark,
        filters=("wheel", "what"),
    ),
    Kind(
        slug="faults",
        model=Fault,
        title="Faults",
        moment="decided at",
        help="The list the tapper chooses from: what each means, and the grade it usually costs.",
        fields=("name", "means", "where", "usual_grade", "valid_from", "source"),
        filters=("where", "usual_grade"),
    ),
    Kind(
        slug="grade-rules",
        model=GradeRule,
        title="Rules of the grades",
        moment="decided at",
        help="What a grade means from a day on, and what the rind of such a wheel must bear.",
        fields=("grade", "means", "marks", "counts_as", "named", "valid_from", "source"),
        filters=("grade",),
    ),
    Kind(
        slug="age-rules",
        model=AgeRule,
        title="Age rules",
        moment="decided at",
        help="How old a wheel must be before it leaves, from a day on, and where that stands.",
        fields=("of", "at_least", "unit", "scheme", "valid_from", "source"),
        filters=("of", "scheme"),
    ),
)
