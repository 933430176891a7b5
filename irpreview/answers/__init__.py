"""The answers as JSON holds them: pydantic models that every door shares, so that what is said twice is said alike.

The published schemas in `data/schemas` are made from these models by `python -m irpreview.answers.schemas`.
"""
