"""Stones: wear, what is left, dull or worn, sets compared, when to dress and to order."""
