"""The way between a run host and its clients on one computer: messages, the card that says where, both ends."""
