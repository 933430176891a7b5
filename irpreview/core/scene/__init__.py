"""What is where in the snap, and how it is corrected by hand."""
