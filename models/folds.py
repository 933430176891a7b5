"""Which fold of the cross-validation each research pair belongs to, and the network that has not seen one of them."""

from pathlib import Path

FOLDS = 4
UNSEEN_FOLD = 2
HELD_BACK = Path(__file__).resolve().parent / "held_back"
"""Folder of the network that is only for tests and figures: taught as the shipped one, but without the pairs of
UNSEEN_FOLD, the six pairs whose numbers are unknown, and the val split of the labelled scenes."""


def fold_of_pairs(names: list[str]) -> list[int]:
    """Fold 0..FOLDS-1 of each pair: contiguous blocks of numbers inside a category, never at random."""
    fold = {}
    for category in sorted({n.rsplit("_", 1)[0] for n in names}):
        members = sorted(n for n in names if n.rsplit("_", 1)[0] == category)
        for i, name in enumerate(members):
            fold[name] = i * FOLDS // len(members)
    return [fold[n] for n in names]
