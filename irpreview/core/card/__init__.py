"""What is carried outdoors."""
