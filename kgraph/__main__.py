"""`python -m kgraph` is the command `kgraph`."""

import signal

# Until a command runs there is nothing to clear up: Ctrl-C ends the program at once, and prints no traceback.
if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
    signal.signal(signal.SIGINT, signal.SIG_DFL)

from kgraph.cli.main import main

if __name__ == "__main__":
    main()
