"""What is wrong with a record, told to people."""


class RecordFault(Exception):  # noqa: N818 - the house calls what is wrong a fault
    """A record cannot be found, read or written. str() is one line that names the file and what was found."""
