"""Pure statistics: arrays in, numbers out."""
