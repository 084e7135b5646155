"""Hostile strangers, thousands at a time, while one honest agent goes on working."""
