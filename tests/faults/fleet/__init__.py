"""Kills the real gateway and real agents under load and compares the archive with what was written."""
