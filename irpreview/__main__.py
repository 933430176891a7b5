"""`python -m irpreview` is the same as `irpreview`."""

from irpreview.cli import main

if __name__ == "__main__":
    main()
