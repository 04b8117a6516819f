"""Proof by breaking: the real server is killed, its disk is cut off, and the client's own journal is the judge."""
