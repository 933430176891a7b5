"""Which fold of the cross-validation each research pair belongs to."""

FOLDS = 4
SHIPPED_FOLD = 2
"""The shipped network is the one of this fold: it has not seen these pairs."""


def fold_of_pairs(names: list[str]) -> list[int]:
    """Fold 0..FOLDS-1 of each pair: contiguous blocks of numbers inside a category, never at random."""
    fold = {}
    for category in sorted({n.rsplit("_", 1)[0] for n in names}):
        members = sorted(n for n in names if n.rsplit("_", 1)[0] == category)
        for i, name in enumerate(members):
            fold[name] = i * FOLDS // len(members)
    return [fold[n] for n in names]
