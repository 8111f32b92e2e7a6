"""Addresses of the herd under /api/ besides its kinds of entry."""

from django.urls import include, path

from herd.api.cupboard import CupboardApi
from herd.api.medicine_book import MedicineBookApi
from herd.api.treatments import OrderPlanApi, PreviewApi
from herd.api.withheld import WithheldApi

urlpatterns = [
    path("withheld/", WithheldApi.as_view(), name="api-withheld"),
    path("treatments/preview/", PreviewApi.as_view(), name="api-treatment-preview"),
    path(
        "treatment-plans/<uuid:uuid>/order/",
        OrderPlanApi.as_view(),
        name="api-treatment-plan-order",
    ),
    path("udder/", include("herd.api.udder_urls")),
    path("medicine-book/", MedicineBookApi.as_view(), name="api-medicine-book"),
    path("cupboard/", CupboardApi.as_view(), name="api-cupboard"),
]
