"""Arithmetic that several topics share: constants, distributions, intervals."""
