"""What a command tells the person who calls it."""

from shuntbook.cli.main import run


def told(capsys, *words):
    """Status, standard output and standard error of a command; what was printed before is forgotten."""
    capsys.readouterr()
    status = run([str(word) for word in words])
    return status, *capsys.readouterr()


def unwrapped(text):
    """The same text without the line ends that a terminal's width makes."""
    return " ".join(text.split())
