"""A source, a chain and its instruments that exist only in memory, and the Modbus TCP side that serves them.

Nothing here is shared with the client's end of the wire: frames, encodings and physics are written
independently, so a mistake made twice by one hand cannot hide. Only the nouns (`benchctl.core`, data) and the
file readers are imported.
"""
