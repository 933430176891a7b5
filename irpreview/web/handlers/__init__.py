"""What the page does when something is pressed, as plain functions without the page's server.

Each takes a session's token and plain values and gives `Shown`: the parts of the page that change. An error that is
the user's becomes a sentence in the status line; nothing else of the page is touched by it.

`waiting` holds the sessions and the line for heavy work, `answering` leads from the entries to the analysis and to
what is shown; on these stand `snaps`, `corrections`, `views` (with wind and shutter) and `taking_along`.
"""

from irpreview.web.handlers.corrections import CorrectionsDesk
from irpreview.web.handlers.snaps import SnapsDesk
from irpreview.web.handlers.taking_along import TakingAlongDesk
from irpreview.web.handlers.views import ViewsDesk

__all__ = ["Desk"]


class Desk(SnapsDesk, CorrectionsDesk, ViewsDesk, TakingAlongDesk):
    """The page's handlers over one set of sessions. `folder` is for files on their way; `keeping` for what stays."""
