"""What moves, how fast, and what a shutter time makes of it."""
