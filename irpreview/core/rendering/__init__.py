"""From snap and scene to the infrared tones, and from tones to the finished print."""
