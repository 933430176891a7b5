"""What to set: metering, filter factor at work, test exposures, focus, what a frame costs."""
