"""Faults of the network between real agents and the real gateway, each in a network namespace of its own."""
