"""Addresses of the herd's own pages; the lists and forms of its kinds come from config."""

from django.urls import include, path

from herd.views import (
    animals,
    antimicrobials,
    cupboard,
    groups,
    medicine_book,
    treatments,
    withheld,
)

app_name = "herd"

urlpatterns = [
    path("", groups.index, name="index"),
    path("withheld/", withheld.withheld, name="withheld"),
    path("medicine-book/", medicine_book.book, name="medicine-book"),
    path("cupboard/", cupboard.shelf, name="cupboard"),
    path("antimicrobials/", antimicrobials.antimicrobials, name="antimicrobials"),
    path("animals/<uuid:uuid>/", animals.animal, name="animal"),
    path("animals/<uuid:uuid>/treat/", treatments.treat, name="treat"),
    path("animals/<uuid:uuid>/order/<uuid:plan>/", treatments.order, name="order"),
    path("courses/<uuid:uuid>/dose/", treatments.dose, name="dose"),
    path("courses/<uuid:uuid>/given/", treatments.give, name="give"),
    path("udder/", include("herd.udder_urls")),
]
