"""Lets one allocation or socket call of the real gateway or the real agent fail, the n-th, n rising."""
