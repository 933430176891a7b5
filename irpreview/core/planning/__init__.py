"""A day out: which places, in which order, at what time."""
