"""Drills: faults on purpose, and whether every entry came through."""
