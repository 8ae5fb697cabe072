"""Faults put into the program on purpose, and what is left of the facts afterwards.

    python -m tests.faults FIGURE [--size small|full] [--broken NAME]

Each figure prints `injected / happened / survived`: how many faults were asked for, how many were *seen* to
have happened (a process that died of signal 9, a line of the log of `strace`, the message of a full disk),
and after how many of those all was as it must be. It ends with status 1 unless the three are equal. Faults
that did not happen prove nothing, so they count as failures.

With `--broken NAME` the same figure runs against a build with one safety taken out (see `broken.py`), and
must then fail: a harness that cannot fail is none. The product has no switch for this; the build is changed
from outside, while it runs.

| figure | what is done |
|---|---|
| `kill` | kill -9 at every system call of every command that writes |
| `power` | a power cut after every system call of a write, on a disk of its own (needs root) |
| `errors` | nine error codes at every system call that touches the folder |
| `full` | a disk that is full at every byte of an append, and at every page (the second needs root) |
| `writers` | many writers on one file and on four, some killed, an editor that saves meanwhile, a reader |
| `signals` | Ctrl-C and the signal to end at random moments, closed pipes, a full standard output, locales |
| `cache` | a damaged, foreign or old index, and clocks that are wrong |
| `years` | years at the bench: random commands, some killed half-way, and power cuts |

What is killed runs from a copy of the program, made when a figure starts, so that nobody's editing changes
the system calls under it. Everything happens in temporary folders. `strace` must be installed.
"""
