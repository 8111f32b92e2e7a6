"""Addresses of the herd under /api/ besides its kinds of entry."""

from django.urls import include, path

from herd.api.acts import ArriveApi, CalvingWithCalvesApi, ChecksApi, MoveManyApi
from herd.api.cupboard import CupboardApi
from herd.api.medicine_book import MedicineBookApi
from herd.api.treatments import OrderPlanApi, PreviewApi
from herd.api.unknown import CandidatesApi, UnknownCowsApi
from herd.api.walk import BreedingApi, ExpectedCalvingsApi, ListApi, ListsApi
from herd.api.withheld import WithheldApi

urlpatterns = [
    path("withheld/", WithheldApi.as_view(), name="api-withheld"),
    # In walking order, and how the herd breeds.
    path("herd-lists/", ListsApi.as_view(), name="api-herd-lists"),
    path("herd-lists/<slug:name>/", ListApi.as_view(), name="api-herd-list"),
    path("expected-calvings/", ExpectedCalvingsApi.as_view(), name="api-expected-calvings"),
    path("breeding/", BreedingApi.as_view(), name="api-breeding"),
    # Acts of several entries: before the kinds' own addresses.
    path("calvings/with-calves/", CalvingWithCalvesApi.as_view(), name="api-calving-with-calves"),
    path("animals/arrive/", ArriveApi.as_view(), name="api-arrive"),
    path("group-stays/many/", MoveManyApi.as_view(), name="api-move-many"),
    path("pregnancy-checks/round/", ChecksApi.as_view(), name="api-checks-round"),
    path("unknown-cows/open/", UnknownCowsApi.as_view(), name="api-unknown-open"),
    path(
        "unknown-cows/<uuid:uuid>/candidates/",
        CandidatesApi.as_view(),
        name="api-unknown-candidates",
    ),
    # Medicines.
    path("treatments/preview/", PreviewApi.as_view(), name="api-treatment-preview"),
    path(
        "treatment-plans/<uuid:uuid>/order/",
        OrderPlanApi.as_view(),
        name="api-treatment-plan-order",
    ),
    path("medicine-book/", MedicineBookApi.as_view(), name="api-medicine-book"),
    path("cupboard/", CupboardApi.as_view(), name="api-cupboard"),
    path("udder/", include("herd.api.udder_urls")),
]
