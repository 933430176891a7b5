"""Everything that irpreview refuses, in one tree.

IrpreviewError
├── BadPhoto          a picture file that cannot be used
├── BadClip           a film clip or burst that cannot be used
├── BadKit            a kit file or kit value that makes no sense
├── BadValue          a number or word outside its valid range
├── BadPair           two frames that do not belong together or cannot tell what is asked
├── BadLog            a field log that cannot be read or written
├── BadModel          weights or tables of the installation that are missing or damaged
├── BadCluster        other machines that cannot be worked with
├── CannotWrite       a result that could not be saved
└── Stopped           work that its owner did not want any more

A message is one line: what happened, the value with its unit, the valid range, what to do.
"""


class IrpreviewError(Exception):
    """Base of all errors that are shown to a person as one line."""


class BadPhoto(IrpreviewError):
    """A picture file that cannot be used."""


class BadClip(IrpreviewError):
    """A film clip or burst that cannot be used."""


class BadKit(IrpreviewError):
    """A kit file or kit value that makes no sense."""


class BadValue(IrpreviewError):
    """A number or word outside its valid range."""


class BadPair(IrpreviewError):
    """Two frames that do not belong together, or that cannot tell what is asked of them."""


class BadLog(IrpreviewError):
    """A field log that cannot be read or written."""


class BadModel(IrpreviewError):
    """Weights or tables of the installation that are missing or damaged."""


class BadCluster(IrpreviewError):
    """Other machines that cannot be worked with."""


class CannotWrite(IrpreviewError):
    """A result that could not be saved."""


class Stopped(IrpreviewError):
    """Work that its owner did not want any more."""
