"""The console: a client of the run host with a screen. `view/`, `keys` and `gate` are pure: they know no Textual."""
