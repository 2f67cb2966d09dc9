"""The sections of a report, one file a group: each function takes the dossier and gives blocks."""
