"""Which calls fail: every one up to a bound, then a share further each time."""


def following(n, every_up_to, share):
    """every_up_to 0: every call."""
    return n + 1 if not every_up_to or n < every_up_to else n + max(1, n // share)
