"""Now on a screen above the cell: what it shows besides, and how a person comes there and back.

The browser does the rest (`assets/screen.js`): it hides the frame, keeps the screen awake and moves
everything by a few pixels once a minute.
"""

from __future__ import annotations

from dash import html

from cellmon.words import say


def above() -> html.Div:
    """Return the line at the head of the screen: when it was last refreshed, and the way back."""
    refreshed = html.P(id="refreshed", **{"data-words": say("Refreshed {time}")})
    leave = html.Button(say("Back to the pages"), id="screen-off", className="step")
    return html.Div([refreshed, leave], className="screen-only")


def button() -> html.Button:
    """Return the button that fills the screen with this page."""
    return html.Button(say("Fill the screen"), id="screen-on", className="step")
