"""The one place for English: numbers, clock times and sentences, the same on the terminal and on the page."""
