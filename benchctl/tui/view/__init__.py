"""What stands on the screen: a picture in, lines of text with marks out. Pure: no clock, no terminal, no Textual."""
