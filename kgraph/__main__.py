"""`python -m kgraph` is the command `kgraph`."""

from kgraph.cli.main import main

if __name__ == "__main__":
    main()
