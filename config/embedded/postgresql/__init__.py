"""Django's PostgreSQL engine on the embedded server."""
