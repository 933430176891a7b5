"""Light and matter: spectra, daylight, surfaces, filter and sensor, and when in the day the light is right."""
