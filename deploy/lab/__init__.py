"""The invented college's lab: simulated instruments, real printers and mail, and a judge.

Used by deploy/demo and by tests/system. Python 3 standard library only; it shares no code and no
constants with the gateway, so that what it says about the gateway's work is a second opinion.
"""
