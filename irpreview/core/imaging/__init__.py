"""What every chapter needs of pictures: geometry, lettering, laying one frame over another."""
