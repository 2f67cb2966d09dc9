"""The pure core: nouns and one scan's decision. It touches no clock, disk, wire, screen or log."""
