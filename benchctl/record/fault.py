"""What is wrong with a record, told to people."""


class RecordFault(Exception):
    """A record cannot be found, read or written. str() is one line that names the file and what was found."""
