"""The demo overture: notation, score model, the music itself, and the tables that say what was planted."""
