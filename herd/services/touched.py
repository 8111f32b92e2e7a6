"""Which animals' periods a changed leaflet, rule or sign may change."""

from datetime import date, datetime

from django.db.models import Q

from config.days import estate_zone
from herd.models import Animal, Calving, Course, Dose, DryOff, HealthEvent, Medicine
from herd.services.kept_out_reads import returns_of


def treated_with(medicine: Medicine) -> list[int]:
    """The animals that ever had a medicine by course or at dry-off."""
    courses = Course.objects.filter(medicine=medicine).values_list("animal_id", flat=True)
    dry_offs = DryOff.objects.filter(medicine=medicine).values_list("animal_id", flat=True)
    return sorted({*courses, *dry_offs})


def under_rules_since(day: date) -> list[int]:
    """The animals with a period that a rule valid from a day on may change."""
    begin = datetime.combine(day, datetime.min.time(), tzinfo=estate_zone())
    late = Q(happened_at__gte=begin)
    return sorted(
        {
            *Calving.objects.standing().filter(late).values_list("dam_id", flat=True),
            *DryOff.objects.standing().filter(late).values_list("animal_id", flat=True),
            *Dose.objects.standing().filter(late).values_list("course__animal_id", flat=True),
            *Course.objects.standing().filter(late).values_list("animal_id", flat=True),
            *Animal.objects.standing()
            .filter(late, arrived_from__isnull=False)
            .values_list("pk", flat=True),
            *returns_of().filter(late).values_list("animal_id", flat=True),
            *HealthEvent.objects.standing()
            .filter(late)
            .exclude(case="")
            .values_list("animal_id", flat=True),
        }
    )


def seen_with(case: str) -> list[int]:
    """The animals (ids) on which a case was seen."""
    seen = HealthEvent.objects.standing().filter(case=case)
    return sorted(set(seen.values_list("animal_id", flat=True)))
