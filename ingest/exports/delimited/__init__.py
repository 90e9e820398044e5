"""Reading delimited text: bytes, dialect, header words, numbers and time stamps."""
