"""How does it stand? What is worked out from records, for an instant or for a stretch of time.

The rooms after this one get these plain frozen values and never a database connection.
"""

from weirhouse.situation.at import at, between

__all__ = ["at", "between"]
