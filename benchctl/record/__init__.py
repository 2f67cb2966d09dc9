"""The run's file on disk: written while it happens, read at any time, replayed, verified, exported."""
