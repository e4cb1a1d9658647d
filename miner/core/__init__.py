"""What every layer uses: codes and values, results, a period of days, a unit."""

VERSION = "0.1.0"
