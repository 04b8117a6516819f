"""What will the stream bring? Whole paths of raw turbidity over the next days, with honest spread."""

from weirhouse.twin.forecast.expectation import Expectation, ExpectationError, read_expectation
from weirhouse.twin.forecast.model import Forecast, ForecastError, forecast

__all__ = ["Expectation", "ExpectationError", "Forecast", "ForecastError", "forecast", "read_expectation"]
