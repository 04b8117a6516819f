"""What time does a person mean? Between the plant's clock on a page and an instant."""

from weirhouse.situation.clock import TimeError, for_field, typed_time

__all__ = ["TimeError", "for_field", "typed_time"]
