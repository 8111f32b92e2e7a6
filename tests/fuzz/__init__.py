"""Input that nobody would type, at scale: no crash, nothing half written, memory bounded."""
