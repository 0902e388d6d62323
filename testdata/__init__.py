"""Data for tests: the bundled sample card, the rehearsal, damaged files."""
