"""Run the command line: ``python -m kit``."""

from kit.cli import main

if __name__ == "__main__":
    main()
