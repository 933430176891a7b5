"""Which fold of the cross-validation each research pair belongs to, and which shipped network has not seen one."""

FOLDS = 4
UNSEEN_FOLD = 2
UNSEEN_BY = "scene_network_1.onnx"
"""Of the two shipped networks this one has not seen the pairs of UNSEEN_FOLD, nor the val split of the labelled
scenes; the other has seen everything."""


def fold_of_pairs(names: list[str]) -> list[int]:
    """Fold 0..FOLDS-1 of each pair: contiguous blocks of numbers inside a category, never at random."""
    fold = {}
    for category in sorted({n.rsplit("_", 1)[0] for n in names}):
        members = sorted(n for n in names if n.rsplit("_", 1)[0] == category)
        for i, name in enumerate(members):
            fold[name] = i * FOLDS // len(members)
    return [fold[n] for n in names]
