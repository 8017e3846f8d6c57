"""Results of the monitor drawn as figures: plain dicts that plotly accepts."""
