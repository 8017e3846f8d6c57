"""The pages of a cell, served on this machine."""
