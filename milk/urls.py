"""Addresses of the milk's own pages; the lists and forms of its kinds come from config."""

from django.urls import path

from milk.views import lots

app_name = "milk"

urlpatterns = [
    # Lots, tests and holds.
    path("", lots.index, name="index"),
    path("lots/", lots.lots, name="lots"),
    path("lots/<uuid:uuid>/", lots.lot, name="lot"),
    # Tanks and milkings.
    # Vats and wheels.
    # Trace.
]
