"""What the frames brought home teach."""
