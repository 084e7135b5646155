"""How every one of these programs ends: its faults as an exit status, what hindered it in words."""
import sys

from lab.processes import LabError


def ended(play, options):
    """Exit status of play(options); 130 after Ctrl-C, 1 where it could not be played."""
    try:
        return play(options)
    except KeyboardInterrupt:
        print("Stopped.")
        return 130
    except (LabError, OSError) as problem:
        print("It could not be played: %s" % problem, file=sys.stderr)
        return 1
