"""The page in the browser: a thin shell over irpreview.analysis."""
