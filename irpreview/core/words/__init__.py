"""Every sentence: typed answers in, plain English out. Nothing reads a sentence back."""
