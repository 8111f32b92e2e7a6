"""The frame as a Django app; once all apps are there it finds their kinds of entry and finders."""

from django.apps import AppConfig
from django.db.models.signals import post_migrate
from django.utils.module_loading import autodiscover_modules
from django.utils.translation import gettext

from config import logs, reading_moments
from config.celery import app as celery_app
from config.days import day_in_figures
from config.language import in_readers_form
from config.saying import translate_by
from config.triggers import never_ignore
from config.wording import speak_plainly


class Frame(AppConfig):
    name = "config"
    label = "config"
    verbose_name = "frame"
    default_auto_field = "django.db.models.BigAutoField"

    # Made at start-up, so that whatever asks for a job finds it as the current application.
    jobs = celery_app

    def ready(self) -> None:
        translate_by(gettext, shape_figures=in_readers_form, shape_day=day_in_figures)
        speak_plainly()
        logs.listen()
        reading_moments.listen()
        post_migrate.connect(never_ignore, sender=self)
        # By name, so that the frame imports no app: <app>/kinds.py, <app>/finders.py and so on.
        found = ("checks", "kinds", "finders", "yields", "seen", "milk_went", "phones", "today")
        autodiscover_modules(*found, "proofs", "first_day", "seals")
