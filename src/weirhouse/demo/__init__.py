"""Is there something to try it on? The invented village of Emberly: a plant with a year of records.

Beside the other rooms: it writes through `records` and reads `plant`, and shares no formula with what it tests.
"""

from weirhouse.demo.make import SEED, DemoError, is_demo, make_demo

__all__ = ["SEED", "DemoError", "is_demo", "make_demo"]
