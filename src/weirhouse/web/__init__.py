"""How do people reach it in a browser? Pages made on the server; nothing from outside, nothing computed here.

``create_app(folder, clock=...)`` gives the application that a server runs.
"""

from weirhouse.web.app import create_app

__all__ = ["create_app"]
