"""The gauge: decisions that respect its uncertainty."""
