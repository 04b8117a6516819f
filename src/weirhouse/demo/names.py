"""What is an entry called? The same id each time for the same thing, so that the same year is the same entries."""

import uuid

_SPACE = uuid.uuid5(uuid.NAMESPACE_DNS, "emberly.demo.invalid")


def name(*what: object) -> str:
    """Return the id of an entry from what it is.

    >>> name("reading", "raw_ph", 0) == name("reading", "raw_ph", 0) != name("reading", "raw_ph", 60)
    True
    """
    return str(uuid.uuid5(_SPACE, " ".join(str(one) for one in what)))
