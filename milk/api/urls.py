"""Addresses of the milk under /api/ besides its kinds of entry."""

from django.urls import path

from milk.api.trace import TraceBackApi, TraceForwardApi

urlpatterns = [
    # Trace.
    path("trace/back/<str:kind>/<path:id>/", TraceBackApi.as_view(), name="api-trace-back"),
    path("trace/forward/<str:kind>/<path:id>/", TraceForwardApi.as_view(), name="api-trace-forward"),
]
