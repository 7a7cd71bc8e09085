"""Lets `python -m airproof` do what the command `airproof` does."""

from __future__ import annotations

from airproof.cli.main import run

if __name__ == "__main__":
    run()
