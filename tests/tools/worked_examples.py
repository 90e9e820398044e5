"""List the worked examples: what tests marked `worked` are held against, counted by file.

``python tests/tools worked_examples`` collects them and runs none. A test is one example, however many cases it has.
Each source ends in how it is known: read (in the publication, or in a page that reproduces it), from memory, or by hand
(arithmetic that anybody can do again, of nobody's).
"""

import argparse
from collections import Counter
from dataclasses import dataclass, field

import pytest
from places import ROOT

#: How a source may be known, as it ends.
KNOWN = ("(read)", "(from memory)", "(by hand)")


@dataclass(frozen=True)
class Example:
    """A marked test: its file from the root, its name, and whose figures it is held against."""

    file: str
    name: str
    sources: tuple[str, ...]

    @property
    def published(self) -> bool:
        """Whether any of its figures was printed by somebody."""
        return any(not source.endswith("(by hand)") for source in self.sources)


@dataclass
class Collector:
    """A plugin of pytest that counts the cases of marked tests."""

    cases: Counter = field(default_factory=Counter)

    def pytest_collection_finish(self, session):
        """Take in what was collected."""
        for item in session.items:
            mark = item.get_closest_marker("worked")
            if mark is not None:
                file = str(item.path.relative_to(ROOT))
                self.cases[Example(file, item.originalname, mark.args)] += 1


def examples() -> Counter:
    """Return the marked tests, and how many cases each has."""
    marked = [path for path in (ROOT / "tests").rglob("test_*.py") if "mark.worked(" in path.read_text("utf-8")]
    collector = Collector()
    options = ["--collect-only", "-qq", "-n", "0", "-m", "worked", "-p", "no:cacheprovider", f"--rootdir={ROOT}"]
    if pytest.main([*options, *map(str, marked)], plugins=[collector]):
        raise SystemExit("the tests could not be collected")
    return collector.cases


def main() -> None:
    """Print each example with its sources, a file at a time, and the counts."""
    argparse.ArgumentParser(description=__doc__.partition("\n")[0]).parse_args()
    listed = examples()
    for file in sorted({each.file for each in listed}):
        print(f"\n{file}")
        for each in sorted((each for each in listed if each.file == file), key=lambda each: each.name):
            print(f"  {each.name} ({listed[each]}): {'; '.join(each.sources)}")
    published = sum(each.published for each in listed)
    print(f"\n{len(listed)} examples in {listed.total()} cases, {published} of them against published figures")


if __name__ == "__main__":
    main()
