"""The photographic physics: arrays and frozen records in, frozen records out; opens nothing."""
