"""What is worked out once and kept: once an object, and for several objects at the same time."""

import threading
from dataclasses import dataclass

from shuntbook.analysis.readings.kept import kept


@dataclass(frozen=True)
class Meeting:
    """Something whose value is worked out only where another waits for it at the same moment."""

    both: threading.Barrier
    asked: list[int]

    @kept
    def value(self) -> int:
        """How often it was worked out."""
        self.asked.append(1)
        self.both.wait(timeout=10)
        return len(self.asked)


def test_it_is_worked_out_once():
    """The second time the value is found where the first time left it."""
    meeting = Meeting(threading.Barrier(1), [])
    assert (meeting.value, meeting.value) == (1, 1)
    assert meeting.asked == [1]
    assert Meeting.value.__doc__ == "How often it was worked out."


def test_two_threads_work_it_out_for_two_objects_at_once():
    """Each waits until the other is at work, too; with one lock for all objects none would come to its end."""
    both = threading.Barrier(2)
    meetings = [Meeting(both, []) for _ in range(2)]
    other = threading.Thread(target=lambda: meetings[1].value)
    other.start()
    assert meetings[0].value == 1
    other.join()
    assert meetings[1].asked == [1]
