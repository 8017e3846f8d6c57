"""Charts: subgroups, three-sigma limits and what they cost in false alarms."""
