"""The app herd."""

from django.apps import AppConfig


class HerdApp(AppConfig):
    name = "herd"
