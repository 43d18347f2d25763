"""`python -m garboard`."""

from garboard.cli import main

if __name__ == "__main__":
    main()
