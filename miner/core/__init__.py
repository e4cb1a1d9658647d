"""What every room speaks of: a period of days, a unit."""

from miner.core.period import EVER, Period, day_of
from miner.core.unit import Unit

__all__ = ["EVER", "VERSION", "Period", "Unit", "day_of"]

VERSION = "0.1.0"
