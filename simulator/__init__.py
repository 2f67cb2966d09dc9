"""A chain of load bank units, its source and its meters that exist only in memory, for rehearsals and tests."""
