"""`python -m garboard`."""

from garboard.commands.cli import main

if __name__ == "__main__":
    main()
