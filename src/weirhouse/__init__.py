"""Weirhouse: what to set now, with the working of every number."""
