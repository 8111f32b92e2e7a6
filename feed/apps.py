"""The app feed."""

from django.apps import AppConfig


class FeedApp(AppConfig):
    name = "feed"
