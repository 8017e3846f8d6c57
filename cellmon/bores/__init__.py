"""Bores: readings to sizes, form, temperature and doubts; pure arithmetic on arrays."""
