"""A whole folder of snaps: order, like snaps, places, the contact sheet."""
