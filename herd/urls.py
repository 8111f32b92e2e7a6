"""Addresses of the herd's own pages; the lists and forms of its kinds come from config."""

from django.urls import include, path

from herd.views import (
    animals,
    antimicrobials,
    breeding,
    cupboard,
    groups,
    medicine_book,
    moves,
    treatments,
    unknown,
    walk,
    wall,
    withheld,
)

app_name = "herd"

urlpatterns = [
    path("", groups.index, name="index"),
    path("withheld/", withheld.withheld, name="withheld"),
    # In walking order, and on the parlour wall.
    path("walk/", walk.walk, name="walk"),
    path("walk/<slug:name>/", walk.one_list, name="list"),
    path("wall/", wall.walls, name="walls"),
    path("wall/<int:number>/", wall.wall, name="wall"),
    path("wall/screens/", wall.hang, name="wall-hang"),
    path("wall/screens/<uuid:uuid>/", wall.withdraw, name="wall-withdraw"),
    path("wall/hung/<str:secret>/", wall.wall_hung, name="wall-hung"),
    path("unknown/", unknown.unknown_cows, name="unknown-cows"),
    path("unknown/<uuid:uuid>/", unknown.unknown_cow, name="unknown-cow"),
    # Breeding, arrivals and moves.
    path("breeding/", walk.breeding, name="breeding"),
    path("breeding/checks/", breeding.checks, name="checks"),
    path("calving/", breeding.calving, name="calving"),
    path("move/", moves.move, name="move"),
    path("arrive/", moves.arrive, name="arrive"),
    # Medicines.
    path("medicine-book/", medicine_book.book, name="medicine-book"),
    path("cupboard/", cupboard.shelf, name="cupboard"),
    path("antimicrobials/", antimicrobials.antimicrobials, name="antimicrobials"),
    path("animals/<uuid:uuid>/", animals.animal, name="animal"),
    path("animals/<uuid:uuid>/treat/", treatments.treat, name="treat"),
    path("animals/<uuid:uuid>/order/<uuid:plan>/", treatments.order, name="order"),
    path("animals/<uuid:uuid>/dry-off/", breeding.dry_off, name="dry-off"),
    path("courses/<uuid:uuid>/dose/", treatments.dose, name="dose"),
    path("courses/<uuid:uuid>/given/", treatments.give, name="give"),
    path("udder/", include("herd.udder_urls")),
]
