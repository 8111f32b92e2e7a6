"""The feed's kinds of entry; their forms, pages and API are made from this."""

from typing import Any

from django.conf import settings
from django.utils.functional import lazy
from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy as _l

from config.kinds import Kind, register
from feed.models import (
    AirHour,
    ClearanceRule,
    Discard,
    DryMatterSample,
    FeedFigure,
    Feeding,
    FeedLot,
    FeedRule,
    FeedShareRule,
    Field,
    FieldWalk,
    FieldWork,
    ForageBatch,
    GrassTarget,
    HeapCheck,
    Refusal,
    StackCheck,
    WaitRule,
    WindowRule,
)
from feed.services import (
    batches,
    discards,
    feedings,
    fields,
    figures,
    heaps,
    lots,
    rules,
    samples,
    weather,
)

OWN_RULES = _l(
    "The estate's own judgement: no published time until cut grass heats was found. "
    "The vet sets it and answers for it."
)
FOLLOWED = format_lazy(
    _l("The estate follows {schemes}; rules of other schemes judge nothing."),
    schemes=", ".join(settings.ESTATE_SCHEMES),
)
# Sentences one after the other, said when they are read.
together: Any = lazy(lambda *said: " ".join(map(str, said)), str)
DERIVED_OF_BATCH = ("air_used", "first_at", "deadline", "heated_at", "done_at")

register(
    [
        Kind(
            slug="fields",
            model=Field,
            title=_l("Fields"),
            fields=(
                "name",
                "hectares",
                "crop",
                "own",
                "in_district",
                "latitude",
                "longitude",
            ),
            moment=_l("in the book since"),
        ),
        Kind(
            slug="field-works",
            model=FieldWork,
            title=_l("Field work"),
            fields=("field", "what", "product", "batch", "rate", "waiting_days"),
            shown=("free_on", "from_label"),
            moment=_l("done at"),
            help=_l(
                "The label's days win over any rule or habit; they count after the day of the "
                "work. Local law may ask for more."
            ),
            record=fields.record_work,
            strike=fields.strike_work,
            filters=("field",),
        ),
        Kind(
            slug="field-walks",
            model=FieldWalk,
            title=_l("Field walks"),
            fields=("field", "cover", "remark"),
            moment=_l("walked at"),
            help=_l(
                "What the mower would take, by eye or by plate; the cut page counts tonnes of it."
            ),
            filters=("field",),
        ),
        Kind(
            slug="wait-rules",
            model=WaitRule,
            title=_l("Waiting rules of fields"),
            fields=(
                "what",
                "waiting_days",
                "caution_days",
                "caution",
                "valid_from",
                "source",
            ),
            moment=_l("decided at"),
            help=_l("For work whose label says no days. The label and local law win over these."),
        ),
        Kind(
            slug="window-rules",
            model=WindowRule,
            title=_l("Window rules"),
            fields=(
                "valid_from",
                "from_temperature",
                "hours",
                "wet_factor",
                "first_share",
                "extension_share",
                "heap_over_air",
                "heap_top",
                "source",
            ),
            moment=_l("decided at"),
            help=together(
                OWN_RULES, _l("A rule never gives a load that is cut already more time.")
            ),
            record=rules.record_window_rule,
            strike=rules.strike_rule,
        ),
        Kind(
            slug="clearance-rules",
            model=ClearanceRule,
            title=_l("Clearance rules"),
            fields=(
                "valid_from",
                "clear_by",
                "instead",
                "first_share",
                "heap_over_air",
                "heap_top",
                "source",
            ),
            moment=_l("decided at"),
            help=together(
                _l("What is cut on one day is out of the trough by this hour of the next."),
                OWN_RULES,
                _l("A rule never gives a load that is cut already more time."),
            ),
            record=rules.record_clearance_rule,
            strike=rules.strike_rule,
        ),
        Kind(
            slug="air-hours",
            model=AirHour,
            title=_l("Air temperatures"),
            fields=("hour", "celsius", "forecast", "source"),
            moment=_l("read at"),
            help=_l(
                "One full hour; of a day with every hour the highest sets the window of its "
                "loads. A file of hours is taken in under files."
            ),
            record=weather.record_air,
            strike=weather.strike_air,
        ),
        Kind(
            slug="feed-share-rules",
            model=FeedShareRule,
            title=_l("Feed share rules"),
            fields=(
                "name",
                "kind",
                "of",
                "at_least",
                "at_most",
                "unit",
                "over",
                "scheme",
                "valid_from",
                "source",
            ),
            moment=_l("decided at"),
            help=together(_l("As the scheme writes it; the scheme's own text decides."), FOLLOWED),
        ),
        Kind(
            slug="feed-rules",
            model=FeedRule,
            title=_l("Forbidden feeds"),
            fields=(
                "scheme",
                "name",
                "act",
                "kind",
                "kept_as",
                "name_has",
                "water_above",
                "aflatoxin_above",
                "valid_from",
                "valid_to",
                "source",
            ),
            moment=_l("decided at"),
            help=together(
                _l("Every condition given must be met; the scheme's own text decides."), FOLLOWED
            ),
        ),
        Kind(
            slug="feed-figures",
            model=FeedFigure,
            title=_l("Feed figures"),
            fields=("name", "value", "valid_from", "source"),
            shown=("unit",),
            moment=_l("decided at"),
            help=_l("Prices, weights and times of the estate, each from a day on."),
            record=figures.record_figure,
            filters=("name",),
        ),
        Kind(
            slug="grass-targets",
            model=GrassTarget,
            title=_l("Grass targets"),
            fields=("group", "dry_matter_kg", "valid_from"),
            moment=_l("decided at"),
            help=_l(
                "What a cow of the group shall get from fresh grass; the plan of a cut counts it."
            ),
            filters=("group",),
        ),
        Kind(
            slug="forage-batches",
            model=ForageBatch,
            title=_l("Loads of fresh grass"),
            fields=(
                "field",
                "kg",
                "weighed",
                "air_temperature",
                "wet",
                "chopped",
                "dry_matter",
                "onto",
                "foreign_matter",
                "early_reason",
                "remark",
            ),
            shown=DERIVED_OF_BATCH,
            moment=_l("cut began at"),
            earlier=True,
            help=together(_l("Without the air temperature the shortest window holds."), OWN_RULES),
            record=batches.record_batch,
            strike=batches.strike_batch,
            correct=batches.correct_batch,
            filters=("field",),
        ),
        Kind(
            slug="heap-checks",
            model=HeapCheck,
            title=_l("Heap checks"),
            fields=(
                "batch",
                "heap",
                "air",
                "warm_to_hand",
                "still_kg",
                "extends",
                "extension_reason",
            ),
            moment=_l("measured at"),
            help=_l(
                "Heat beats the clock: a warm heap is discarded, however young it is. Without a "
                "number the heap was felt by hand, and was not warm unless you say so."
            ),
            record=heaps.record_heap_check,
            strike=heaps.strike_heap_check,
            filters=("batch",),
            related=("batch__field",),
        ),
        Kind(
            slug="dry-matter-samples",
            model=DryMatterSample,
            title=_l("Dry-matter samples"),
            fields=("batch", "field", "feed_lot", "percent", "method", "remark"),
            moment=_l("taken at"),
            help=_l(
                "Of one load, of a field's grass or of a feed lot; after every change of weather."
            ),
            record=samples.record_sample,
            filters=("batch", "field", "feed_lot"),
            related=("batch__field",),
        ),
        Kind(
            slug="feedings",
            model=Feeding,
            title=_l("Feedings"),
            fields=("batch", "feed_lot", "group", "kg", "weighed"),
            moment=_l("fed at"),
            help=_l("Name a load or a feed lot."),
            record=feedings.record_feeding,
            strike=feedings.strike_feeding,
            filters=("batch", "feed_lot", "group"),
            related=("batch__field",),
            shown=("asked",),
        ),
        Kind(
            slug="refusals",
            model=Refusal,
            title=_l("Refusals"),
            fields=("group", "kg", "dry_matter", "state", "where_to"),
            moment=_l("cleared at"),
            help=_l("What a group left. Never to dry cows or to heifers in calf."),
            record=feedings.record_refusal,
            filters=("group",),
        ),
        Kind(
            slug="discards",
            model=Discard,
            title=_l("Discards"),
            fields=("batch", "feed_lot", "kg", "why", "where_to", "witness"),
            moment=_l("discarded at"),
            help=_l("Never to animals, and never heaped against the barn wall, where it ferments."),
            record=discards.record_discard,
            strike=discards.strike_discard,
            filters=("batch", "feed_lot"),
            related=("batch__field",),
        ),
        Kind(
            slug="feed-lots",
            model=FeedLot,
            title=_l("Feed lots"),
            fields=(
                "kind",
                "name",
                "supplier",
                "field",
                "batch_number",
                "kg",
                "dry_matter",
                "kept_as",
                "cut_on",
                "place",
                "own_share",
                "in_district",
                "crude_protein",
                "fibre",
                "ash",
                "energy",
                "aflatoxin",
                "moisture_note",
                "opened_on",
                "finished_on",
            ),
            moment=_l("brought in at"),
            help=_l("Hay, meal or minerals: one delivery or one stack, with where it came from."),
            record=lots.record_feed_lot,
            correct=lots.correct_feed_lot,
            filters=("kind",),
        ),
        Kind(
            slug="stack-checks",
            model=StackCheck,
            title=_l("Stack checks"),
            fields=("feed_lot", "inside", "smell"),
            moment=_l("measured at"),
            help=_l(
                "Hay that heats can burn the barn: tell the fire service before you open a hot "
                "stack."
            ),
            filters=("feed_lot",),
        ),
    ]
)
