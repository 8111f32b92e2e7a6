"""Who is who: sessions, one-time codes, shared phones with a PIN, tokens of machines."""
