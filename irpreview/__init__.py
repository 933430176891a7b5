"""irpreview: from an ordinary phone snap to its black-and-white near-infrared picture."""

__version__ = "0.1.0"
