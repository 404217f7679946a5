"""`python -m gaugelog`."""

from gaugelog.cli.main import run

if __name__ == "__main__":
    run()
