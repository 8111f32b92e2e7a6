"""Hints about cows that may put milk wrong: treated and not marked, and hardly any milk.

For the lists, read live; they keep nobody out and let nobody in.
"""

from collections.abc import Collection
from datetime import datetime, timedelta

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from config.asking import ask
from config.days import local
from config.language import in_readers_form
from herd.models import LegBand, WithdrawalPeriod
from herd.rules_in_force import MILK_LEAST, rule_in_force
from herd.seen import meters

# Yields older than this tell of another time.
LATELY = timedelta(days=35)
# The last whole day recorded of each, where it was less than the least.
RECORDED = """
    SELECT animal_id, milk_kg, happened_at
    FROM (
        SELECT DISTINCT ON (animal_id) animal_id, milk_kg, happened_at
        FROM herd_recording
        WHERE struck_at IS NULL AND session = '' AND milk_kg IS NOT NULL
            AND happened_at > %(since)s::timestamptz AND happened_at <= %(at)s::timestamptz
            AND animal_id = ANY(%(animals)s::int[])
        ORDER BY animal_id, happened_at DESC) AS latest
    WHERE milk_kg < %(least)s::numeric
"""


def treated_unmarked(at: datetime, animals: Collection[int]) -> dict[int, str]:
    """Which of these animals are in a treatment or its period without a leg band, and since when.

    Two statements. Source: Swiss order on hygiene in milk production, Art. 10(2): they are marked.
    """
    running = WithdrawalPeriod.objects.at(at).filter(course__isnull=False).order_by("pk")
    of_these = set(animals)
    treated = {
        animal: since
        for animal, since in running.values_list("animal_id", "course__happened_at")
        if animal in of_these
    }
    bands = LegBand.objects.standing().filter(animal__in=sorted(treated), happened_at__lte=at)
    latest = bands.order_by("animal", "-happened_at", "-pk").distinct("animal")
    marked = {animal for animal, on in latest.values_list("animal_id", "on") if on}
    return {
        animal: _("treated since {since}, no leg band written: mark her").format(since=local(since))
        for animal, since in treated.items()
        if animal not in marked
    }


def little_milk(at: datetime, animals: Collection[int]) -> dict[int, str]:
    """Which of these animals gave less than the least of a day, and by what; {} without a rule.

    By the meters her milkings of the last day, else her last recording of a whole day. Source:
    Swiss order on hygiene in milk production, Art. 10(1): cows under 2 l a day.
    """
    least = rule_in_force(MILK_LEAST, at)
    if least is None or not animals:
        return {}
    metered = meters().of_day(animals, at)
    found = {
        animal: (milked.kg, N_("meter, to {at}"), milked.at)
        for animal, milked in metered.items()
        if milked.kg < least
    }
    values = {"animals": list(animals), "since": at - LATELY, "at": at, "least": least}
    for animal, kg, when in ask(RECORDED, values):
        if animal not in metered:
            found[animal] = (kg, N_("recording of {when}"), when)
    return {
        animal: _("{kg} kg a day ({where}), below {least} kg: look at her").format(
            kg=in_readers_form(f"{kg:.1f}"),
            where=_(where).format(when=local(when), at=local(when)),
            least=in_readers_form(f"{least.normalize():f}"),
        )
        for animal, (kg, where, when) in found.items()
    }
