"""``python -m blinkspan``: the command line where its script is not on the path."""

from blinkspan.cli.main import main

if __name__ == "__main__":
    main(prog_name="blinkspan")
