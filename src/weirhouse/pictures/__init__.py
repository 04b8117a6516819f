"""How does it look? SVG for pages and paper, made on the server from the same numbers as the JSON.

Nothing is styled inside: colour of measured things by attribute, everything else by class, so that a strict content
security policy holds and paper, day and night share one picture.
"""
