"""Layers, their tonal separation, the sky, what leads the picture."""
