"""Pages, named by what they answer."""
