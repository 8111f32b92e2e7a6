"""PostgreSQL and Valkey that come in wheels, for a machine that has neither.

Nothing starts at import. A process *joins* a service when it first needs it (``keeper.join``): a
keeper, one small process per service and data folder, starts the server and stays beside it as long
as anybody uses it. Users hold a shared lock that the kernel drops when they end, however they end,
so the server goes when its last user has gone. ``DATABASE_URL`` and ``CELERY_BROKER_URL`` replace
all of this.
"""
