"""What every layer speaks of: codes and values, results, a period of days, a unit."""

VERSION = "0.1.0"
