"""Where the frozen program begins.

There `sys.executable` is the program itself and knows no `-m`; the proof run is worked out in a process of its own by
`python -m troubleshoot.cli.ahead`, so that one call is led to the same module here.
"""

import sys

AHEAD = ["-m", "troubleshoot.cli.ahead"]

if __name__ == "__main__":
    if sys.argv[1:3] == AHEAD:
        from troubleshoot.cli.ahead import main as ahead

        raise SystemExit(ahead(*sys.argv[3:]))
    from troubleshoot.cli import main

    raise SystemExit(main())
