"""How does it look on paper? The reports, from the same figures as the pages."""
