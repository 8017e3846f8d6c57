"""A virtual honing cell: a week or a year of records from one seed, for demonstrations and tests."""
