"""The commands: results as tables for people and as JSON for programs."""
