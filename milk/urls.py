"""Addresses of the milk's own pages; the lists and forms of its kinds come from config."""

from django.urls import path

from milk.views import (
    after_feed,
    balance,
    cells,
    holds,
    late,
    lots,
    made_by,
    milkings,
    quality,
    tanks,
    trace,
    vats,
    wheels,
    wrong_cow,
)

app_name = "milk"

urlpatterns = [
    # Lots, tests and holds.
    path("", lots.index, name="index"),
    path("lots/", lots.lots, name="lots"),
    path("lots/<uuid:uuid>/", lots.lot, name="lot"),
    path("quality/", quality.page, name="quality"),
    path("cells/", cells.cells, name="cells-now"),
    path("lots/<uuid:uuid>/cows/", made_by.cows, name="lot-cows"),
    path("holds/", holds.holds, name="holds"),
    path("holds/<uuid:uuid>/", holds.hold, name="hold"),
    # The milk after a load, the grass of a field, or of a day.
    path("after-feed/", after_feed.after_feed_of_day, name="after-feed-day"),
    path("after-feed/<str:kind>/<str:id>/", after_feed.after_feed, name="after-feed"),
    path("late/<uuid:uuid>/", late.late, name="late"),
    # Tanks and milkings.
    path("tanks/", tanks.tanks, name="tanks"),
    path("wrong-cow/", wrong_cow.wrong_cow, name="wrong-cow"),
    path("balance/", balance.balance, name="balance"),
    path("milkings/", milkings.milkings, name="milkings"),
    path("milkings/new/", milkings.milk, name="milk"),
    # Vats and wheels.
    path("vats/", vats.vats, name="vats"),
    path("vats/<uuid:uuid>/", vats.vat, name="vat"),
    path("vats/<uuid:uuid>/fill/", vats.fill, name="vat-fill"),
    path("vats/<uuid:uuid>/wheels/", vats.number, name="vat-wheels"),
    path("vats/<uuid:uuid>/swap/", vats.swap, name="vat-swap"),
    path("wheels/", wheels.wheels, name="wheels"),
    path("wheels/<uuid:uuid>/", wheels.wheel, name="wheel"),
    # Trace: …/<kind of thing>/<what people call it, or its uuid>/; it may hold a slash (vats).
    path("trace/back/<str:kind>/<path:id>/", trace.trace, {"way": "back"}, name="trace-back"),
    path(
        "trace/forward/<str:kind>/<path:id>/", trace.trace, {"way": "forward"}, name="trace-forward"
    ),
    path("trace/<str:way>/<str:kind>/<path:id>/", trace.trace, name="trace"),
]
