"""From the snap to the picture: frames of the kit's lenses, searched over and judged like the snap itself."""
