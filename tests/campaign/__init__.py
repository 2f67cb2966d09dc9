"""Campaigns: whole benches in virtual time from seeds, an observer of what is physically true, crashes and kills."""
