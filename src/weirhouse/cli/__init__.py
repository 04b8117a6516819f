"""How do people reach it in a terminal? One command a task; each is loaded only when it is asked for."""

from weirhouse.cli.main import main

__all__ = ["main"]
