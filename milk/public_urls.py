"""Addresses below /01/ that anybody may open: …/GTIN/10/lot/21/plate (GS1 Digital Link)."""

from django.urls import path

from milk.views import public

urlpatterns = [
    path("<str:gtin>/10/<str:lot>/21/<path:plate>", public.wheel, name="public-wheel"),
]
