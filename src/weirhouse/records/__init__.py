"""What happened? Readings, events, series, corrections and imports: all that is stored. The only room with SQL."""
